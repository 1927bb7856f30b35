"""The verdict and its reasons. It never claims more than the data show."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ringpull.analysis.instruments.trust import Trust
from ringpull.analysis.judge import lamp, masks, spool
from ringpull.analysis.judge.lean_events import DOUBT_DEPTH, LEAST_DEPTH
from ringpull.analysis.judge.reasons import Reason, Why

ATTENTION = "attention"
NO_EVENT = "no lean event found"
NOT_ENOUGH = "not enough data"

LEAST_JUDGED_S = 0.5  # a pull without a lean event counts as judged from here; a fast car's pull has little more
# What the largest excess of all pulls without a lean event may nevertheless be: an event too short or next to rows that
# are left out; a shallow event or scatter; an event if all readings are shifted
IN_PIECES, SCATTER, SYSTEMATIC = "in pieces", "scatter", "systematic"
UNDECIDED = (IN_PIECES, SCATTER)
UNSEEN_RPM = 250.0  # steps of engine speed in which a lift's stretch is looked for in other pulls
HIDES_S = 0.25  # a hidden stretch of this length could hold a real lean event


@dataclass(frozen=True)
class Wiring:
    """Electrical events of one sensor: steps faster than its lag allows, and the number of times a state of its
    controller began while the engine ran (reported above sensor.MANY_ENTRIES)."""

    bank: str
    steps: int
    entries: int


@dataclass(frozen=True)
class Signs:
    """Evidence outside the pulls: the lamp's warnings, sensors with electrical events, the drive's own file if it
    ends early: (name, whether it has no rows), what of the drive was not recorded, or is in no pull, what is said of
    it that leaves the verdict, and the configurations that can't be used."""

    warned: Sequence[lamp.Warned] = ()
    wiring: Sequence[Wiring] = ()
    cut_short: tuple[str, bool] | None = None
    unrecorded: Sequence[Reason] = ()
    aside: Sequence[Reason] = ()
    refused: Sequence[Reason] = ()


NO_SIGNS = Signs()


def usable(pulls: list) -> list:
    """The pulls that count as judged: those judged for LEAST_JUDGED_S on every bank, and all with a lean event."""

    def enough(pull) -> bool:
        return pull.judged_s >= LEAST_JUDGED_S and pull.excess_max is not None and not pull.blind

    return [p for p in pulls if not p.spoiled and (p.lean_events or enough(p))]


def little(pull) -> Reason:
    """The reason why so little of a pull is judged."""
    known = {"judged_s": pull.judged_s}
    if pull.judged_s >= LEAST_JUDGED_S:
        known |= {"cause": "pieces"}
    elif pull.lost_s > max(LEAST_JUDGED_S, pull.loaded_s):
        known |= {"cause": "lost", "seconds": pull.lost_s}
    elif pull.loaded_s < LEAST_JUDGED_S:
        known |= {"cause": "not loaded", "seconds": pull.loaded_s}
    elif not pull.left_out:
        known |= {"cause": "unknown"}
    else:
        left_out = {name: seconds for name, seconds in pull.left_out.items() if name not in masks.OFF_LOAD}
        mask, seconds = max((left_out or pull.left_out).items(), key=lambda one: one[1])
        known |= {"cause": "mask", "mask": mask, "seconds": seconds}
    if pull.excess_max is not None and pull.excess_max > DOUBT_DEPTH:
        known |= {"excess": pull.excess_max, "rpm": pull.excess_at_rpm}
    return Reason(Why.LITTLE, pull.number, values=known)


def of_pull(pull, judged: bool) -> list[Reason]:
    """The reasons why a pull is not judged, wholly or partly."""
    if pull.spoiled:
        return [] if pull.spoiled_events else [Reason(Why.SPOILED, pull.number)]
    if pull.blind:
        return [Reason(Why.BLIND, pull.number, values={"banks": tuple(pull.blind)}), *hidden(pull)]
    return hidden(pull) if judged else [little(pull)]


def hidden(pull) -> list[Reason]:
    """Reasons for the stretches of a pull that could not be judged, by mask and bank."""
    groups: dict[tuple, list] = {}
    for one in pull.hidden:
        groups.setdefault((one.mask, one.bank), []).append(one)
    return [
        Reason(
            Why.HIDDEN,
            pull.number,
            values={
                "mask": mask,
                "bank": some[0].label or bank,
                "seconds": sum(one.seconds for one in some),
                "longest_s": max(one.seconds for one in some),
                "rpm_from": float(np.min([one.rpm_from for one in some])),  # NaN where one has none
                "rpm_to": float(np.max([one.rpm_to for one in some])),
                "stretches": len(some),
                "target": max(some, key=lambda one: one.seconds).target,
            },
        )
        for (mask, bank), some in groups.items()
    ]


def unseen(reason: Reason, judged: list) -> bool:
    """Whether a reason is of a lift in mid-pull behind which no pull was judged, at those speeds and that load."""
    values = reason.values
    if reason.kind is not Why.HIDDEN or values["mask"] != "lift" or values["longest_s"] < HIDES_S - 1e-9:
        return False
    low, high = values["rpm_from"], values["rpm_to"]
    if not (np.isfinite(low) and np.isfinite(high)):
        return True
    bins = [(at, min(at + UNSEEN_RPM, high)) for at in np.arange(low, high, UNSEEN_RPM)]
    missed = [not any(p.covers(*one, values["target"]) for p in judged) for one in bins]
    return 2 * sum(missed) >= len(missed)


def hides(reason: Reason) -> bool:
    """Whether a reason means that a lean event could be hidden, so that "no lean event found" must not be said."""
    values = reason.values
    if reason.kind is Why.HIDDEN:
        return values["mask"] in masks.FAULTS and values["longest_s"] >= HIDES_S - 1e-9
    if reason.kind is Why.LITTLE:
        mask = values.get("mask")
        faulty = values["cause"] in ("lost", "pieces") or (mask in masks.FAULTS and mask != "warm_up")
        return faulty or "excess" in values
    return reason.kind in (Why.BLIND, Why.SPOOL_LEAN, Why.BEYOND_TARGET)


def beyond_target(pulls: list) -> list[Reason]:
    """The reasons of what was held against the last row or column of the target's table, for long enough to hide a
    lean event."""
    found: dict[tuple[float, str], list] = {}
    for pull in pulls:
        for one in pull.beyond_target:
            if one.seconds >= HIDES_S - 1e-9:
                found.setdefault((one.last, one.unit), []).append(one)
    return [
        Reason(
            Why.BEYOND_TARGET,
            values={
                "pulls": len(some),
                "seconds": sum(one.seconds for one in some),
                "last": last,
                "most": max(one.most for one in some),
                "unit": unit,
            },
        )
        for (last, unit), some in found.items()
    ]


def at_spool_up(pulls: list) -> list[Reason]:
    """The reasons from spool-up, the time after the throttle opened. A pull that is too short for more counts too."""
    known = [(p, p.spool) for p in pulls if p.spool is not None and not p.spoiled]
    lean = [(p, one) for p, one in known if one.lean]
    told = [(p, one) for p, one in known if one.excess is not None]
    if lean:
        values = {
            "excess": max(one.excess for _, one in lean),
            "pulls": len(lean),
            "of": len(told),
            "agreed": spool.agreed([one for _, one in known]),
            "rpm_from": min(one.rpm_from for _, one in lean),
            "rpm_to": max(one.rpm_to for _, one in lean),
        }
        return [Reason(Why.SPOOL_LEAN, lean[0][0].number if len(lean) == 1 else None, values=values)]
    if known and not told:
        values = {
            "rpm_from": min(one.rpm_from for _, one in known),
            "rpm_to": max(one.rpm_to for _, one in known),
        }
        return [Reason(Why.SPOOL_UNJUDGED, values=values)]
    return []


def decide(
    pulls: list,
    missing: list[str],
    systematic_u: float,
    call: float,
    trusts: Sequence[Trust] = (),
    signs: Signs = NO_SIGNS,
) -> tuple[str, list[Reason]]:
    """(verdict, reasons) from judged pulls.

    pulls: answer.PullAnswer, or objects with the same numbers. missing: missing roles without which nothing can be
    judged. systematic_u: standard uncertainty in lambda. call: the excess that makes an event. trusts: those of the
    pulls' sessions.

    If an instrument that the verdict relies on is contradicted, the verdict is never "no lean event found".
    """
    word, reasons = _decided(pulls, missing, 1.96 * systematic_u, call, signs)
    if signs.cut_short is not None:  # pulls that nobody marked may be lost
        name, empty = signs.cut_short
        cut = Reason(Why.CUT_SHORT, values={"file": name, "empty": empty})
        reasons = [*reasons, cut] if word == ATTENTION else [cut, *reasons]
        word = NOT_ENOUGH if word == NO_EVENT else word
    if signs.unrecorded:
        reasons = [*reasons, *signs.unrecorded] if word == ATTENTION else [*signs.unrecorded, *reasons]
        word = NOT_ENOUGH if word == NO_EVENT else word
    if signs.refused:  # a session without its channels hides whatever was in it
        behind = word == ATTENTION and not missing
        reasons = [*reasons, *signs.refused] if behind else [*signs.refused, *reasons]
        word = NOT_ENOUGH if word == NO_EVENT else word
    reasons = [*reasons, *signs.aside]
    doubts = [Reason(Why.DOUBT, values={"instrument": one}) for trust in trusts for one in trust.doubted]
    stands = [Reason(Why.STAND_IN, values={"stand_in": one}) for trust in trusts for one in trust.stand_ins]
    if doubts:  # a pull without a lean event shows nothing where its instruments are contradicted
        clean = sum(1 for p in usable(pulls) if not p.lean_events and not p.judged.doubted)
        left = [Reason(Why.CLEAN, values={"pulls": clean})] if clean else []
        reasons = [new for one in reasons for new in (left if one.kind is Why.CLEAN else [one])]
    if word == ATTENTION:
        ahead = doubts and (only_by_contradicted(reasons) or reasons[0].kind is Why.SPAN)
        return word, [*doubts, *stands, *reasons] if ahead else [*reasons, *doubts, *stands]
    return (NOT_ENOUGH if doubts else word), doubts + stands + reasons


def only_by_contradicted(reasons: list[Reason]) -> bool:
    """Whether nothing but the lamp's word calls for attention, given by instruments that are contradicted."""
    alarms = [one.values["warned"] for one in reasons if one.kind is Why.LAMP]
    alarms = [one for one in alarms if one.came_to == lamp.UNJUDGED]
    found = any(
        one.kind in (Why.LEAN, Why.SPOILED_LEAN) or one.kind is Why.SPOOL_LEAN and one.values["agreed"]
        for one in reasons
    )
    return bool(alarms) and not found and all(one.rests_on for one in alarms)


def _decided(pulls: list, missing: list[str], shift: float, call: float, signs: Signs) -> tuple[str, list[Reason]]:
    """(verdict, reasons) if all instruments can be trusted. shift: half-width of the systematic part."""
    warned = signs.warned
    contradicted = [Reason(Why.LAMP, one.pull, values={"warned": one}) for one in warned if one.came_to != lamp.EVENT]
    electrical = [Reason(Why.WIRING, values={"wiring": one}) for one in signs.wiring]
    alarmed = any(one.came_to == lamp.UNJUDGED for one in warned)
    at_part_load = any(one.came_to == lamp.PART_LOAD for one in warned)
    if missing or not pulls:
        first = Reason(Why.MISSING, values={"roles": tuple(missing)}) if missing else Reason(Why.NO_PULL)
        return ATTENTION if alarmed or at_part_load else NOT_ENOUGH, [first, *contradicted]
    judged = usable(pulls)
    spooled = at_spool_up(pulls)
    reasons = [*beyond_target(judged), *(reason for pull in pulls for reason in of_pull(pull, pull in judged))]
    lean = [Reason(Why.LEAN, p.number, e) for p in judged for e in p.lean_events]
    flagged = [Reason(Why.SPOILED_LEAN, p.number, e) for p in pulls if p.spoiled for e in p.spoiled_events]
    agreed = any(one.kind is Why.SPOOL_LEAN and one.values["agreed"] for one in spooled)
    if lean or flagged or agreed or alarmed:
        first = [*lean, *(spooled if agreed else []), *flagged]
        if any(one.event is not None and one.event.depth < shift for one in first):
            first.append(Reason(Why.SYSTEMATIC, values={"shift": shift}))
        clean = sum(1 for p in judged if not p.lean_events)
        if clean and lean:
            first.append(Reason(Why.CLEAN, values={"pulls": clean}))
        rest = [one for one in spooled if not agreed]
        others = [] if lean or not judged else seen_in(judged, call, shift)
        return ATTENTION, [*first, *contradicted, *others, *rest, *electrical, *reasons]
    if not judged:
        lean_at_first = [one for one in spooled if one.kind is Why.SPOOL_LEAN]
        return NOT_ENOUGH, [*lean_at_first, *reasons, *contradicted, *electrical]
    seen = seen_in(judged, call, shift)
    rest = [*contradicted, *electrical]
    single = [Reason(Why.SINGLE)] if len(judged) == 1 else []
    doubts = [one for one in [*spooled, *reasons] if hides(one) or unseen(one, judged)]
    doubts += [one for one in seen if one.values.get("beyond") in UNDECIDED]
    if doubts:
        others = [one for one in [*seen, *spooled, *reasons] if one not in doubts]
        return NOT_ENOUGH, [*doubts, *others, *rest, *single]
    return ATTENTION if at_part_load else NO_EVENT, [*seen, *spooled, *reasons, *rest, *single]


def seen_in(judged: list, call: float, shift: float) -> list[Reason]:
    """Reasons that say what was judged, and how near it came to an event. shift: half-width of the systematic part."""
    span = {
        "pulls": len(judged),
        "seconds": sum(p.judged_s for p in judged),
        "rpm_from": min(p.rpm_from for p in judged),
        "rpm_to": max(p.rpm_to for p in judged),
    }
    most = max(judged, key=lambda p: p.excess_max)
    if most.excess_max > DOUBT_DEPTH:
        beyond = IN_PIECES if most.excess_max > call else SCATTER
    else:
        beyond = SYSTEMATIC if most.excess_max + shift > LEAST_DEPTH else None
    largest = {"excess": most.excess_max, "beyond": beyond, "shift": shift, "rpm": most.excess_at_rpm, "call": call}
    return [Reason(Why.SPAN, values=span), Reason(Why.LARGEST, most.number, values=largest)]
