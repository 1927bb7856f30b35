"""A lean place in a sentence that can be said aloud: where, how much, which way, how often; and its likely cause."""

from __future__ import annotations

from math import isfinite

from ringpull.analysis.judge import hints
from ringpull.analysis.judge.holes import LEAN, Hole
from ringpull.said import Said, capital, joined, kpa, say
from ringpull.wording import events

HELD = {"fuel_pressure": "fuel pressure", "battery": "supply voltage"}


def sentence(hole: Hole) -> Said:
    """The whole of a hole: "Right bank, 5100-5800 rpm at 190 kPa: lambda 0.88 +/- 0.02 where 0.79 was wanted, about 12
    % lean, in 1 of 4 pulls, 1.6 s"."""
    event = hole.event
    bank = "" if event.bank is None else "both banks, " if hole.other == LEAN else f"{event.bank_label}, "
    many = len(hole.pulls) > 1
    told = say(
        *(bank, events.at(event, hole.rpm_from, hole.rpm_to), ": ", events.mixture(event)),
        f", in {len(hole.pulls)} of {hole.of} pull{'' if hole.of == 1 else 's'}, "
        f"{'up to ' if many else ''}{hole.seconds:.1f} s",
    )
    return capital(told)


def held(hole: Hole) -> str:
    """What brings the fuel and was seen to hold; "" without any."""
    names = [HELD[role] for role in hole.held]
    return f"{' and '.join(names)} did not fall" if names else ""


def cause(hole: Hole) -> Said:
    """What moved with a hole, and what did not."""
    told = [events.hint(one) for one in hole.hints]
    if held(hole):
        told.append(say(held(hole)))
    return capital(joined(told, "; ")) if told else say("")


def fell(hole: Hole) -> hints.Hint | None:
    """The fuel pressure that fell with a hole, or lay below its base."""
    return next((h for h in hole.hints if h.role == "fuel_pressure"), None)


def cell(hole: Hole) -> Said:
    """Its cell of the fuel table: "cell 5500 rpm / 220 kPa"."""
    place = hole.cell
    rpm = hole.event.deepest_rpm if place is None else place.rpm
    if place is None or place.load is None:
        return say(f"the table around {events.nearest(rpm, events.SPEED_STEP):.0f} rpm")
    there = kpa(place.load) if place.load_unit == "kPa" else f"{place.load:.0f} {place.load_unit}".rstrip()
    return say(f"cell {rpm:.0f} rpm / ", there)


def factor(hole: Hole, most_step: float) -> Said:
    """What the fuel map says of a hole's cell: "factor 1.12, first step 1.05". most_step: of one correction."""
    place = hole.cell
    alone = 1.0 + hole.share
    step = f"first step {min(alone, 1.0 + most_step):.2f}"
    known = place is not None and isfinite(place.factor)
    if place is not None and known and not hole.fine and place.factor > 1.0:
        return say(f"factor {place.ratio:.2f}, first step {place.factor:.2f}")
    lean = "pull" if len(hole.pulls) == 1 else "pulls"
    if place is not None and known:
        return say(f"factor {alone:.2f} by the lean {lean} (the map's mean of all is {place.ratio:.2f}), {step}")
    return say(f"factor {alone:.2f} by the lean {lean} alone (too few passes for the map), {step}")
