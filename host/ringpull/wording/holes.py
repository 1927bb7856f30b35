"""A lean place (a hole) in one sentence: where, how lean, in how many pulls, for how long; and its likely cause."""

from __future__ import annotations

from math import isfinite

from ringpull.analysis.judge import hints
from ringpull.analysis.judge.holes import LEAN, Hole
from ringpull.said import Said, capital, joined, kpa, say
from ringpull.wording import events

HELD = {"fuel_pressure": "fuel pressure", "battery": "supply voltage"}


def sentence(hole: Hole) -> Said:
    """A hole in one sentence, such as "Right bank, 5100-5800 rpm at 190 kPa: lambda 0.88 +/- 0.02 where 0.79 was
    wanted, about 12 % lean, in 1 of 4 pulls, 1.6 s"."""
    event = hole.event
    bank = "" if event.bank is None else "both banks, " if hole.other == LEAN else f"{event.bank_label}, "
    many = len(hole.pulls) > 1
    pulls = f"{len(hole.pulls)} of {hole.of} pull{'' if hole.of == 1 else 's'}"
    if hole.of < hole.judged:
        there = "the only pull that was" if hole.of == 1 else f"{len(hole.pulls)} of the {hole.of} pulls that were"
        pulls = f"{there} judged there"
    text = say(
        *(bank, events.at(event, hole.rpm_from, hole.rpm_to), ": ", events.mixture(event)),
        f", in {pulls}, {'up to ' if many else ''}{hole.seconds:.1f} s",
    )
    return capital(text)


def held(hole: Hole) -> str:
    """The supplies (fuel pressure, voltage) that were logged and did not fall; "" if there are none."""
    names = [HELD[role] for role in hole.held]
    return f"{' and '.join(names)} did not fall" if names else ""


def cause(hole: Hole) -> Said:
    """What changed together with a hole, and which supplies did not fall."""
    parts = [events.hint(one) for one in hole.hints]
    if held(hole):
        parts.append(say(held(hole)))
    return capital(joined(parts, "; ")) if parts else say("")


def fell(hole: Hole) -> hints.Hint | None:
    """The hint that fuel pressure fell with a hole or was below its base; None without one."""
    return next((h for h in hole.hints if h.role == "fuel_pressure"), None)


def cell(hole: Hole) -> Said:
    """The hole's cell in the fuel table, such as "cell 5500 rpm / 220 kPa"."""
    place = hole.cell
    rpm = hole.event.deepest_rpm if place is None else place.rpm
    if place is None or place.load is None:
        return say(f"the table around {events.nearest(rpm, events.SPEED_STEP):.0f} rpm")
    there = kpa(place.load) if place.load_unit == "kPa" else f"{place.load:.0f} {place.load_unit}".rstrip()
    return say(f"cell {rpm:.0f} rpm / ", there)


def factor(hole: Hole, most_step: float) -> Said:
    """The fuel map's figures for a hole's cell, such as "factor 1.12, first step 1.05".

    most_step: the largest share by which one correction may change the fuel.
    """
    place = hole.cell
    alone = 1.0 + hole.share
    step = f"first step {min(alone, 1.0 + most_step):.2f}"
    known = place is not None and isfinite(place.factor)
    if place is not None and known and not hole.fine and place.factor > 1.0:
        return say(f"factor {place.ratio:.2f}, first step {place.factor:.2f}")
    lean = "pull" if len(hole.pulls) == 1 else "pulls"
    if place is not None and known:
        return say(f"factor {alone:.2f} from the lean {lean} ({place.ratio:.2f} from all passes in the map), {step}")
    return say(f"factor {alone:.2f} from the lean {lean} alone (too few passes for the map), {step}")
