"""The reasons of a verdict as sentences."""

from __future__ import annotations

from ringpull.analysis.judge.reasons import Reason, Why
from ringpull.said import Said, lam, say
from ringpull.wording import events, masks, needs

CAUTIONS = (
    "No lean event found means in these pulls, at these speeds and loads, and nothing beyond them.",
    "Misfire, an exhaust leak and valve-overlap blow-through all read falsely lean; lambda cannot detect knock.",
    "One sensor reads the mean of its cylinders: a single lean cylinder hides in it.",
    "Pulls belong on a closed course or a dyno, with a passenger or helper at the laptop.",
)


def reason(one: Reason) -> Said:
    """One reason."""
    return say("" if one.pull is None or one.kind is Why.LARGEST else f"pull {one.pull}", _SAID[one.kind](one))


def _lean(one: Reason) -> Said:
    assert one.event is not None
    return say(": ", events.event(one.event))


def _missing_of(one: Reason) -> Said:
    which = ", ".join(str(number) for number in one.values["pulls"])
    return say(f"pull {which}: ", needs.lacking(one.values["roles"]))


def _clean(one: Reason) -> Said:
    count = one.values["pulls"]
    return say(f"no lean event in the other {f'{count} judged pulls' if count > 1 else 'judged pull'}")


def _systematic(one: Reason) -> Said:
    shift = lam(one.values["shift"])
    return say("a systematic error of up to ", shift, " would shift every reading alike: check the calibration")


def _span(one: Reason) -> Said:
    v = one.values
    return say(
        f"{v['pulls']} pull{'s' if v['pulls'] > 1 else ''} judged over {v['seconds']:.1f} s, "
        f"{v['rpm_from']:.0f}-{v['rpm_to']:.0f} rpm"
    )


def _largest(one: Reason) -> Said:
    v = one.values
    near = say("largest mean excess over target ", lam(v["excess"], sign=True), f", in pull {one.pull}")
    if v["beyond"] == "in pieces":
        return say(near, "; above what makes an event, but for too short a time, or beside rows that are left out")
    if v["beyond"] == "systematic":
        return say(
            near,
            "; with the systematic error of up to ",
            lam(v["shift"]),
            " that could be an event: calibrate for more certainty",
        )
    return near


def _blind(one: Reason) -> Said:
    return say(f": {', '.join(one.values['banks'])} told nothing, so that bank is not judged")


def _little(one: Reason) -> Said:
    v = one.values
    why = {
        "pieces": "in pieces too short for a mean",
        "lost": "since its rows of {seconds:.1f} s were lost or are damaged",
        "not loaded": "since it was under load for {seconds:.1f} s only",
        "unknown": "the rest is not known",
        "mask": "most was left out by {title} ({seconds:.1f} s)",
    }[v["cause"]]
    known = why.format(seconds=v.get("seconds"), title=masks.title(v.get("mask", "")))
    return say(f": only {v['judged_s']:.1f} s could be judged, {known}")


def _hidden(one: Reason) -> Said:
    seconds, title = one.values["seconds"], masks.title(one.values["mask"])
    return say(f": {seconds:.1f} s of it could not be judged ({title}): a lean event there would not show")


_SAID = {
    Why.UNREADABLE: lambda one: say("no session could be read"),
    Why.MISSING: lambda one: needs.lacking(one.values["roles"]),
    Why.MISSING_OF: _missing_of,
    Why.NO_PULL: lambda one: say("no pull was marked and none was found"),
    Why.LEAN: _lean,
    Why.CLEAN: _clean,
    Why.SYSTEMATIC: _systematic,
    Why.SPAN: _span,
    Why.LARGEST: _largest,
    Why.SPOILED: lambda one: say(" is flagged spoiled: shown, not judged"),
    Why.BLIND: _blind,
    Why.LITTLE: _little,
    Why.HIDDEN: _hidden,
    Why.SINGLE: lambda one: say("a single pull shows no repeatability: do two more"),
}


def unjudged(pull) -> str | None:
    """Why a pull is not judged, in a few words for a table; None where it is."""
    from ringpull.analysis.judge.verdict import usable

    if pull.spoiled:
        return "spoiled, not judged"
    if usable([pull]):
        return None
    if pull.judged_s <= 0:
        return "nothing to judge"
    return "one bank told nothing" if pull.blind else "too little to judge"
