"""The verdict and its reasons. It never says more than what was seen."""

from __future__ import annotations

from ringpull.analysis.judge import masks, needs

ATTENTION = "attention"
NO_EVENT = "no lean event found"
NOT_ENOUGH = "not enough data"

LEAST_JUDGED_S = 0.5  # of a pull without a lean event, to be called judged: a quick car's pull has little more

CAUTIONS = [
    "No lean event found means in these pulls, at these speeds and loads, and nothing beyond them.",
    "Misfire, an exhaust leak and valve-overlap blow-through all read falsely lean; lambda cannot detect knock.",
    "One sensor reads the mean of its cylinders: a single lean cylinder hides in it.",
    "Pulls belong on a closed course or a dyno, with a passenger or helper at the laptop.",
]


def event_sentence(number: int, event) -> str:
    """One lean event in words."""
    least = "at least " if event.bound else ""
    load = (
        ""
        if event.load_from is None
        else f", load {event.load_from:.0f}-{event.load_to:.0f} {event.load_unit}".rstrip()
    )
    return (
        f"pull {number}: lean by {least}{event.depth:.3f} +/- {event.depth_u:.3f} (random), "
        f"+/- {event.systematic_u:.3f} (systematic) at {event.deepest_rpm:.0f} rpm "
        f"({event.rpm_from:.0f}-{event.rpm_to:.0f} rpm{load}), for {event.length_s:.2f} s"
        f"{'' if event.bank is None else ', on ' + event.bank}"
    )


def usable(pulls: list) -> list:
    """The pulls that are judged: those with LEAST_JUDGED_S of it on every bank, and those with a lean event, however
    little of them could be judged."""

    def enough(pull) -> bool:
        return pull.judged_s >= LEAST_JUDGED_S and pull.excess_max is not None and not pull.blind

    return [p for p in pulls if not p.spoiled and (p.lean_events or enough(p))]


def unjudged(pull) -> str | None:
    """Why a pull is not judged, in a few words for a table; None where it is."""
    if pull.spoiled:
        return "spoiled, not judged"
    if usable([pull]):
        return None
    if pull.judged_s <= 0:
        return "nothing to judge"
    return "one bank told nothing" if pull.blind else "too little to judge"


def why_little(pull) -> str:
    """Why so little of a pull is judged, in words."""
    if pull.judged_s >= LEAST_JUDGED_S:
        return "in pieces too short for a mean"
    if pull.lost_s > max(LEAST_JUDGED_S, pull.loaded_s):
        return f"since its rows of {pull.lost_s:.1f} s were lost or are damaged"
    if pull.loaded_s < LEAST_JUDGED_S:
        return f"since it was under load for {pull.loaded_s:.1f} s only"
    if not pull.left_out:
        return "the rest is not known"
    name, seconds = max(pull.left_out.items(), key=lambda one: one[1])
    return f"most was left out by {masks.title(name)} ({seconds:.1f} s)"


def decide(pulls: list, missing: list[str], systematic_u: float, call: float) -> tuple[str, list[str]]:
    """(verdict, reasons) from judged pulls.

    pulls: each with number, spoiled, judged_s, excess_max (or None), blind (banks), loaded_s, lost_s,
    left_out, hidden and lean_events. missing: channels without which
    nothing can be judged. systematic_u: standard, in lambda. call: the excess that makes an event.
    """
    if missing:
        return NOT_ENOUGH, [needs.lacking(missing)]
    if not pulls:
        return NOT_ENOUGH, ["no pull was marked and none was found"]
    judged = usable(pulls)
    reasons = []
    for pull in pulls:
        if pull.spoiled:
            reasons.append(f"pull {pull.number} is flagged spoiled: shown, not judged")
        elif pull.blind:
            reasons.append(f"pull {pull.number}: {', '.join(pull.blind)} told nothing, so that bank is not judged")
        elif pull not in judged:
            reasons.append(f"pull {pull.number}: only {pull.judged_s:.1f} s could be judged, {why_little(pull)}")
        else:
            reasons += [
                f"pull {pull.number}: {seconds:.1f} s of it could not be judged ({masks.title(name)}): a lean event there would not show"
                for name, seconds in pull.hidden.items()
                if seconds >= LEAST_JUDGED_S
            ]
    lean = [(p, e) for p in judged for e in p.lean_events]
    shift = 1.96 * systematic_u
    if lean:
        doubt = []
        if any(e.depth < shift for _, e in lean):
            doubt.append(
                f"a systematic error of up to {shift:.3f} would shift every reading alike: check the calibration"
            )
        clean = [p for p in judged if not p.lean_events]
        many = f"other {len(clean)} judged pulls" if len(clean) > 1 else "other judged pull"
        more = [f"no lean event in the {many}"] if clean else []
        return ATTENTION, [event_sentence(p.number, e) for p, e in lean] + doubt + more + reasons
    if not judged:
        return NOT_ENOUGH, reasons
    span = (
        f"{len(judged)} pull{'s' if len(judged) > 1 else ''} judged over {sum(p.judged_s for p in judged):.1f} s, "
        f"{min(p.rpm_from for p in judged):.0f}-{max(p.rpm_to for p in judged):.0f} rpm"
    )
    most = max(judged, key=lambda p: p.excess_max)
    near = f"largest mean excess over target {most.excess_max:+.3f}, in pull {most.number}"
    if most.excess_max > call:
        near += "; above what makes an event, but for too short a time, or beside rows that are left out"
    elif most.excess_max + shift > call:
        near += f"; with the systematic error of up to {shift:.3f} that could be an event: calibrate for more certainty"
    if len(judged) == 1:
        reasons.append("a single pull shows no repeatability: do two more")
    return NO_EVENT, [span, near, *reasons]
