"""The answer in one sentence, and the reasons that must be shown beside it."""

from __future__ import annotations

from typing import Any

from ringpull.analysis.judge.reasons import Reason, Why
from ringpull.analysis.judge.verdict import ATTENTION, NO_EVENT
from ringpull.said import Said, capital, say
from ringpull.wording import holes
from ringpull.wording.next_steps import lamp_rests_on, listed
from ringpull.wording.reasons import reason

# Reasons that make the answer less certain than it sounds: they must stay on the first screen
DOUBTS = (
    *(Why.DOUBT, Why.STAND_IN, Why.LAMP, Why.WIRING, Why.BLIND, Why.HIDDEN),
    *(Why.MISSING_OF, Why.REFUSED_CONFIG, Why.SPOILED_LEAN, Why.SPOOL_LEAN, Why.CUT_SHORT, Why.CAR_CODES),
    *(
        Why.NO_TARGET,
        Why.BEYOND_TARGET,
        Why.WITHDRAWN,
        Why.LOAD_UNTOLD,
        Why.OTHER_GEAR,
        Why.SLOWER_REST,
        Why.UNMARKED,
        Why.ONE_TARGET,
    ),
)
# What they tell of lies in none of the pulls
OUTSIDE = (Why.REFUSED_CONFIG, Why.CUT_SHORT, Why.GAPS, Why.LOST_PULLS, Why.WITHDRAWN, Why.OTHER_GEAR, Why.SLOWER_REST)


def sentence(answer: Any) -> Said:
    """The answer in one sentence. answer: analysis.answer.Answer, or an object with the same attributes."""
    judged = answer.judged
    if answer.verdict == ATTENTION and answer.holes:
        return say(holes.sentence(answer.holes[0]), ".")
    at_part_load = answer.verdict == ATTENTION and answer.reasons[0].kind is Why.SPAN
    if answer.verdict == NO_EVENT or at_part_load:
        slow, fast = min(p.rpm_from for p in judged), max(p.rpm_to for p in judged)
        pulls = "1 pull" if len(judged) == 1 else f"{len(judged)} pulls"
        lamp = "; but the logger's lamp warned of lean mixture at part load" if at_part_load else ""
        return say(f"No lean event found in {pulls}, {slow:.0f}-{fast:.0f} rpm{lamp}.")
    doubted = list(dict.fromkeys(one.values["instrument"].called for one in answer.reasons if one.kind is Why.DOUBT))
    against = f"{listed(doubted)} {'is' if len(doubted) == 1 else 'are'} contradicted by the drive"
    if answer.verdict == ATTENTION and answer.reasons[0].kind is Why.DOUBT:
        rests = lamp_rests_on(answer)
        lamp = (
            f"the logger's lamp warned of lean mixture, but its word rests on {listed(rests)}"
            if rests
            else "the logger's lamp warned of lean mixture at part load"
        )
        return say(capital(say(f"{against}; {lamp}.")))
    if answer.verdict == ATTENTION:
        return say(capital(reason(answer.reasons[0])), ".")
    if doubted:
        return say(f"No answer: {against}.")
    if judged and answer.reasons[0].kind in (Why.LARGEST, Why.BEYOND_TARGET, Why.NO_TARGET):
        return say(capital(reason(answer.reasons[0])), ".")
    if judged:
        outside = answer.reasons[0].kind in OUTSIDE
        where = "elsewhere in this drive" if outside else "elsewhere in these pulls"
        what = f"No lean event in the parts that were judged, but a lean event {where} would not show: "
        return say(what, reason(answer.reasons[0]), ".")
    if answer.reasons:
        return say("There is not enough data for an answer: ", reason(answer.reasons[0]), ".")
    return say("There is not enough data for an answer.")


def told_by_sentence(answer: Any) -> list[Reason]:
    """The reasons that the sentence itself gives in full."""
    lean = [one for one in answer.reasons if one.kind is Why.LEAN and answer.holes]
    if lean or answer.verdict == NO_EVENT:
        return lean
    doubted = any(one.kind is Why.DOUBT for one in answer.reasons)
    if answer.verdict == ATTENTION:
        doubted = answer.reasons[0].kind is Why.DOUBT
    return [] if doubted else answer.reasons[:1]


def others(answer: Any) -> list[Said]:
    """Sentences for the lean places after the first."""
    limit = "; engine speed was at its highest there: a limiter that cuts fuel reads lean"
    return [say("Also lean: ", holes.sentence(one), limit if one.at_limiter else "", ".") for one in answer.holes[1:]]


def doubts(answer: Any) -> list[Reason]:
    """The reasons that make the answer less certain, except those that the sentence gives."""
    given = told_by_sentence(answer)
    return [
        one
        for one in answer.reasons
        if (one.kind in DOUBTS or one.values.get("beyond") is not None) and one not in given
    ]


def lines(answer: Any) -> list[Said]:
    """The answer for a terminal: the sentence, its cause, further lean places, then all other reasons."""
    out = [sentence(answer)]
    out += [say(holes.cause(one), ".") for one in answer.holes[:1] if holes.cause(one)]
    out += others(answer)
    given = told_by_sentence(answer)
    out += [capital(reason(one)) for one in answer.reasons if one not in given]
    return out
