"""The verdict and its reasons. It never says more than what was seen."""

from __future__ import annotations

from ringpull.analysis.judge.reasons import Reason, Why

ATTENTION = "attention"
NO_EVENT = "no lean event found"
NOT_ENOUGH = "not enough data"

LEAST_JUDGED_S = 0.5  # of a pull without a lean event, to be called judged: a quick car's pull has little more


def usable(pulls: list) -> list:
    """The pulls that are judged: those with LEAST_JUDGED_S of it on every bank, and those with a lean event, however
    little of them could be judged."""

    def enough(pull) -> bool:
        return pull.judged_s >= LEAST_JUDGED_S and pull.excess_max is not None and not pull.blind

    return [p for p in pulls if not p.spoiled and (p.lean_events or enough(p))]


def little(pull) -> Reason:
    """Why so little of a pull is judged."""
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
        mask, seconds = max(pull.left_out.items(), key=lambda one: one[1])
        known |= {"cause": "mask", "mask": mask, "seconds": seconds}
    return Reason(Why.LITTLE, pull.number, values=known)


def of_pull(pull, judged: bool) -> list[Reason]:
    """What keeps a pull from being judged, whole or in part."""
    if pull.spoiled:
        return [Reason(Why.SPOILED, pull.number)]
    if pull.blind:
        return [Reason(Why.BLIND, pull.number, values={"banks": tuple(pull.blind)})]
    if not judged:
        return [little(pull)]
    return [
        Reason(Why.HIDDEN, pull.number, values={"mask": mask, "seconds": seconds})
        for mask, seconds in pull.hidden.items()
        if seconds >= LEAST_JUDGED_S
    ]


def decide(pulls: list, missing: list[str], systematic_u: float, call: float) -> tuple[str, list[Reason]]:
    """(verdict, reasons) from judged pulls.

    pulls: each with number, spoiled, judged_s, excess_max (or None), blind (banks), loaded_s, lost_s,
    left_out, hidden and lean_events. missing: roles without which nothing can be judged. systematic_u: standard, in
    lambda. call: the excess that makes an event.
    """
    if missing:
        return NOT_ENOUGH, [Reason(Why.MISSING, values={"roles": tuple(missing)})]
    if not pulls:
        return NOT_ENOUGH, [Reason(Why.NO_PULL)]
    judged = usable(pulls)
    reasons = [reason for pull in pulls for reason in of_pull(pull, pull in judged)]
    lean = [Reason(Why.LEAN, p.number, e) for p in judged for e in p.lean_events]
    shift = 1.96 * systematic_u
    if lean:
        if any(one.event is not None and one.event.depth < shift for one in lean):
            lean.append(Reason(Why.SYSTEMATIC, values={"shift": shift}))
        clean = sum(1 for p in judged if not p.lean_events)
        if clean:
            lean.append(Reason(Why.CLEAN, values={"pulls": clean}))
        return ATTENTION, lean + reasons
    if not judged:
        return NOT_ENOUGH, reasons
    span = {
        "pulls": len(judged),
        "seconds": sum(p.judged_s for p in judged),
        "rpm_from": min(p.rpm_from for p in judged),
        "rpm_to": max(p.rpm_to for p in judged),
    }
    most = max(judged, key=lambda p: p.excess_max)
    beyond = "in pieces" if most.excess_max > call else "systematic" if most.excess_max + shift > call else None
    largest = {"excess": most.excess_max, "beyond": beyond, "shift": shift}
    if len(judged) == 1:
        reasons.append(Reason(Why.SINGLE))
    return NO_EVENT, [Reason(Why.SPAN, values=span), Reason(Why.LARGEST, most.number, values=largest), *reasons]
