"""The answer in a sentence, and what must not be missed beside it."""

from __future__ import annotations

from typing import Any

from ringpull.analysis.judge.reasons import Reason, Why
from ringpull.analysis.judge.verdict import ATTENTION, NO_EVENT
from ringpull.said import Said, capital, say
from ringpull.wording import holes
from ringpull.wording.next_steps import listed
from ringpull.wording.reasons import reason

# Kinds of reasons that may not be pushed below the first screen: what makes the answer less certain than it sounds
DOUBTS = (
    *(Why.DOUBT, Why.STAND_IN, Why.LAMP, Why.WIRING, Why.BLIND, Why.HIDDEN),
    *(Why.MISSING_OF, Why.SPOILED_LEAN, Why.SPOOL_LEAN),
)


def sentence(answer: Any) -> Said:
    """The answer in a sentence. answer: analysis.answer.Answer or what has its verdict, reasons, pulls and holes."""
    judged = answer.judged
    if answer.verdict == ATTENTION and answer.holes:
        return say(holes.sentence(answer.holes[0]), ".")
    at_part_load = answer.verdict == ATTENTION and answer.reasons[0].kind is Why.SPAN
    if answer.verdict == NO_EVENT or at_part_load:
        slow, fast = min(p.rpm_from for p in judged), max(p.rpm_to for p in judged)
        pulls = "1 pull" if len(judged) == 1 else f"{len(judged)} pulls"
        lamp = "; but the logger's lamp warned of lean mixture at part load" if at_part_load else ""
        return say(f"No lean event found in {pulls}, {slow:.0f}-{fast:.0f} rpm{lamp}.")
    if answer.verdict == ATTENTION:
        return say(capital(reason(answer.reasons[0])), ".")
    doubted = list(dict.fromkeys(one.values["instrument"].channel for one in answer.reasons if one.kind is Why.DOUBT))
    if doubted:
        return say(f"No answer: {listed(doubted)} {'is' if len(doubted) == 1 else 'are'} contradicted by the drive.")
    if judged:
        what = "No lean event in what was judged, but a lean event elsewhere in these pulls would not show: "
        return say(what, reason(answer.reasons[0]), ".")
    if answer.reasons:
        return say("There is not enough here for an answer: ", reason(answer.reasons[0]), ".")
    return say("There is not enough here for an answer.")


def told_by_sentence(answer: Any) -> list[Reason]:
    """The reasons that the sentence itself tells whole."""
    lean = [one for one in answer.reasons if one.kind is Why.LEAN and answer.holes]
    if lean or answer.verdict == NO_EVENT:
        return lean
    doubted = answer.verdict != ATTENTION and any(one.kind is Why.DOUBT for one in answer.reasons)
    return [] if doubted else answer.reasons[:1]


def others(answer: Any) -> list[Said]:
    """The lean places beside the first."""
    return [say("Lean as well: ", holes.sentence(one), ".") for one in answer.holes[1:]]


def doubts(answer: Any) -> list[Reason]:
    """The reasons that make the answer less certain, without those that the sentence tells."""
    told = told_by_sentence(answer)
    return [
        one
        for one in answer.reasons
        if (one.kind in DOUBTS or one.values.get("beyond") is not None) and one not in told
    ]


def lines(answer: Any) -> list[Said]:
    """The answer for a terminal: the sentence, its cause, further places, then every other reason."""
    out = [sentence(answer)]
    out += [say(holes.cause(one), ".") for one in answer.holes[:1] if holes.cause(one)]
    out += others(answer)
    told = told_by_sentence(answer)
    out += [capital(reason(one)) for one in answer.reasons if one not in told]
    return out
