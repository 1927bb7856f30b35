"""The reasons of a verdict as sentences."""

from __future__ import annotations

from math import isfinite

from ringpull.analysis.judge import lamp, verdict
from ringpull.analysis.judge.lean_events import LeanEvent
from ringpull.analysis.judge.reasons import Reason, Why
from ringpull.said import Figure, Said, joined, kpa, lam, say
from ringpull.wording import events, instruments, masks, needs, refused

CAUTIONS = (
    "'No lean event found' holds for these pulls, at these speeds and loads, and for nothing beyond them.",
    "Misfire, an exhaust leak and valve-overlap blow-through all read falsely lean; lambda cannot detect knock.",
    "A sensor reads the mean of its cylinders, which can hide a single lean cylinder.",
    "Pulls belong on a closed course or a dyno, with a passenger or helper at the laptop.",
)


def reason(one: Reason) -> Said:
    """The sentence for one reason."""
    return say("" if one.pull is None or one.kind is Why.LARGEST else f"pull {one.pull}", _SAID[one.kind](one))


def _event(one: Reason) -> LeanEvent:
    assert one.event is not None
    return one.event


def _lean(one: Reason) -> Said:
    return say(": ", events.event(_event(one)))


def _missing_of(one: Reason) -> Said:
    which = ", ".join(str(number) for number in one.values["pulls"])
    return say(f"pull {which}: ", needs.lacking(one.values["roles"]))


def _refused_config(one: Reason) -> Said:
    told = refused.what(one.values["problem"], one.values["sessions"])
    return say(told, "; likely cause: ", refused.CAUSE)


def _clean(one: Reason) -> Said:
    count = one.values["pulls"]
    return say(f"no lean event in the other {f'{count} judged pulls' if count > 1 else 'judged pull'}")


def _systematic(one: Reason) -> Said:
    shift = lam(one.values["shift"])
    return say("a systematic error of up to ", shift, " would shift all readings alike: check the calibration")


def _span(one: Reason) -> Said:
    v = one.values
    return say(
        f"{v['pulls']} pull{'s' if v['pulls'] > 1 else ''} judged over {v['seconds']:.1f} s, "
        f"{v['rpm_from']:.0f}-{v['rpm_to']:.0f} rpm"
    )


def _largest(one: Reason) -> Said:
    v = one.values
    near = say("largest mean excess over target ", lam(v["excess"], sign=True), f", in pull {one.pull}")
    if v["beyond"] == verdict.SCATTER:
        return say(
            near,
            f", near {v['rpm']:.0f} rpm: a good mixture's scatter may reach that, and so may a lean event, which is "
            "called from ",
            lam(v["call"]),
            ": not enough data for this part, do another pull",
        )
    if v["beyond"] == verdict.IN_PIECES:
        return say(
            near,
            f", near {v['rpm']:.0f} rpm: above the limit of a lean event, but too short, or next to rows that are left "
            "out: not enough data for this part",
        )
    if v["beyond"] == verdict.SYSTEMATIC:
        return say(
            near,
            "; with a systematic error of up to ",
            lam(v["shift"]),
            " that could be a lean event: calibrate for more certainty",
        )
    return near


def _blind(one: Reason) -> Said:
    return say(f": {', '.join(one.values['banks'])} gave no reading, so that bank is not judged")


def _little(one: Reason) -> Said:
    v = one.values
    why = {
        "pieces": "in pieces too short for a mean",
        "lost": "since the rows of {seconds:.1f} s were lost or damaged",
        "not loaded": "since the engine was under load for only {seconds:.1f} s",
        "unknown": "the rest has no valid values",
        "mask": "most of it was left out: {title} ({seconds:.1f} s)",
    }[v["cause"]]
    known = why.format(seconds=v.get("seconds"), title=masks.title(v.get("mask", "")))
    lean = ()
    if "excess" in v:
        lean = ("; there lambda was up to ", lam(v["excess"]), f" above target, near {v['rpm']:.0f} rpm")
    return say(f": only {v['judged_s']:.1f} s could be judged, {known}", *lean)


def _hidden(one: Reason) -> Said:
    v = one.values
    title = masks.title(v["mask"]) + ("" if v["bank"] is None else f", {v['bank']}")
    return say(
        f": {_seconds(v['seconds'])}{_speeds(v)} could not be judged ({title}): a lean event there would not show"
    )


def _gaps(one: Reason) -> Said:
    v = one.values
    where = f"{v['start_s']:.1f}-{v['end_s']:.1f} s"
    longest = where if v["gaps"] == 1 else f"in {v['gaps']} gaps, the longest at {where}"
    return say(
        f"{_seconds(v['seconds'])} with the engine running were not recorded ({longest}): a pull may have been there"
    )


def _lost_pulls(one: Reason) -> Said:
    lost = "one marked pull was" if one.values["pulls"] == 1 else f"{one.values['pulls']} marked pulls were"
    return say(f"{lost} not recorded at all")


def _ends_open(one: Reason) -> Said:
    rpm = one.values["rpm"]
    at = f" at {rpm:.0f} rpm" if isfinite(rpm) else ""
    if one.pull is None:
        return say(f"the recording ends under load{at}: a lean event beyond would not show")
    return say(f": the recording ends under load{at}, within the pull: a lean event beyond would not show")


def _beyond_target(one: Reason) -> Said:
    v = one.values
    unit = v["unit"]
    last, most = f"{v['last']:g} {unit}", f"{v['most']:.0f} {unit}"
    if unit == "kPa":
        last, most = kpa(v["last"]), kpa(v["most"])
    pulls = "one pull" if v["pulls"] == 1 else f"{v['pulls']} pulls"
    return say(
        "the target's table ends at ", last, f", and {pulls} went on to ", most, f": {_seconds(v['seconds'])} were "
        "held against its last value, which says nothing of that range. Check that the table is in "
        f"{_NAMED.get(unit, unit)}, and made for this engine"
    )  # fmt: skip


def _no_target(one: Reason) -> Said:
    return say(
        "no target is configured, and no manifold pressure tells whether the engine is boosted: the pulls were held "
        "against ", _target(one.values["full"]), ", usual at full load without boost, and a boosted engine (usually ",
        _target(one.values["boosted"]), ") may be lean and not show it",
    )  # fmt: skip


def _target(value: float) -> Figure:
    return Figure(value, "lambda", 2)


_NAMED = {"kPa": "kPa absolute", "%": "percent"}


def _withdrawn(one: Reason) -> Said:
    v = one.values
    return say(
        f"a press at {v['press_s']:.1f} s was withdrawn (pressed twice within 0.4 s, or held), and the run there, "
        f"{v['rpm_from']:.0f}-{v['rpm_to']:.0f} rpm, is in no pull: without throttle or pressure only a mark tells "
        "that it was one. A lean event in it would not show; drive it again"
    )


def _load_untold(one: Reason) -> Said:
    v = one.values
    return say(
        f": engine speed hardly rose for {_seconds(v['seconds'])} of it, at {v['rpm_from']:.0f}-{v['rpm_to']:.0f} rpm, "
        "and without throttle or pressure nothing else tells load: not judged, a lean event there would not show"
    )


def _other_gear(one: Reason) -> Said:
    v = one.values
    return say(
        f": the run beside it in another gear, {v['rpm_from']:.0f}-{v['rpm_to']:.0f} rpm from {v['start_s']:.1f} s, is "
        "in no pull, though engine speed rises there as at full load: not judged, a lean event there would not show. "
        "Press at the start and at the end of the whole run"
    )


def _slower_rest(one: Reason) -> Said:
    v = one.values
    lean = (
        () if v["excess"] is None else (" (lambda up to ", lam(v["excess"], sign=True), " off the target of the pulls)")
    )
    return say(
        f": behind it engine speed rose on for {_seconds(v['seconds'])}, {v['rpm_from']:.0f}-{v['rpm_to']:.0f} rpm, "
        "slower than in the other pulls at those speeds: part throttle or a hill",
        *lean,
        ". Not judged: a lean event at full load there would not show. Press at the end of the whole run",
    )


def _unmarked(one: Reason) -> Said:
    v = one.values
    runs = "1 run" if v["runs"] == 1 else f"{v['runs']} runs"
    which = "it is" if v["runs"] == 1 else "they are"
    first = "at" if v["runs"] == 1 else "the first at"
    return say(
        f"{runs} in no pull ({first} {v['start_s']:.1f} s, {v['rpm_from']:.0f}-{v['rpm_to']:.0f} rpm) rose as fast as "
        f"the pulls: without throttle or pressure only a mark tells full load, so {which} not judged"
    )


def _seconds(seconds: float) -> str:
    return f"{seconds:.2f} s" if seconds < 1.0 else f"{seconds:.1f} s"


def _speeds(values) -> str:
    low, high = values["rpm_from"], values["rpm_to"]
    if f"{low:.0f}" == f"{high:.0f}" and isfinite(low):
        return f" at {low:.0f} rpm"
    if isfinite(low) and isfinite(high):
        return f" at {low:.0f}-{high:.0f} rpm"
    return f" from {low:.0f} rpm on" if isfinite(low) else f" up to {high:.0f} rpm" if isfinite(high) else ""


def _spool_lean(one: Reason) -> Said:
    v = one.values
    depth = lam(v["excess"])
    begins = ": " if one.pull is not None else ""
    if v["agreed"]:
        return say(f"{begins}lean during spool-up by ", depth, f" in {v['pulls']} of {v['of']} pulls,{_speeds(v)}")
    pulls = "1 pull" if v["pulls"] == 1 else f"{v['pulls']} pulls"
    return say(
        f"{begins}lean during spool-up by ",
        depth,
        f" in {pulls} of {v['of']},{_speeds(v)}: too few to tell a lean table from wall film and enrichment, so not "
        "enough data for this part",
    )


def _spool_unjudged(one: Reason) -> Said:
    return say(f"spool-up,{_speeds(one.values)}, is not judged: too little valid data")


def _lamp(one: Reason) -> Said:
    warned = one.values["warned"]
    begins = (": " if one.pull is not None else "") + "the logger's lamp warned of lean mixture at "
    when = f"{warned.start_s:.1f}-{warned.end_s:.1f} s"
    rests = f"; it rests on {' and '.join(warned.rests_on)}, which the drive contradicts" if warned.rests_on else ""
    if warned.came_to == lamp.JUDGED:
        return say(
            f"{begins}{when}; after correction for delay and lag, lambda there was at most ",
            lam(warned.excess, sign=True),
            " above target (the lamp compares the gas at the sensor with the target at the same moment)",
            rests,
        )
    if warned.came_to == lamp.PART_LOAD:
        most = [] if warned.most_kpa is None else [say("at most ", kpa(warned.most_kpa))]
        most += [] if warned.most_pct is None else [say(f"throttle at most {warned.most_pct:.0f} %")]
        return say(f"{begins}{when}, at part load (", joined(most, ", "), "), which is not judged here")
    return say(f"{begins}{when}, and that moment could not be judged{rests or ': believe the lamp'}")


def _wiring(one: Reason) -> Said:
    wiring = one.values["wiring"]
    signs = []
    if wiring.steps:
        times = "1 step" if wiring.steps == 1 else f"{wiring.steps} steps"
        signs.append(f"{times} faster than its lag allows (left out)")
    if wiring.entries:
        signs.append(f"its controller changed to a state {wiring.entries} times while the engine ran")
    return say(f"{wiring.bank}: {', and '.join(signs)}: check the wiring")


def _car_codes(one: Reason) -> Said:
    v = one.values
    named = ", ".join(f"{code} {kind}" for code, kind in v["codes"])
    way = "lean" if v["lean"] else "rich"
    says = f"the car's own computer tells of too {way} a mixture"
    closed = "by its trims in closed loop, at idle and part load, which is not judged here"
    if v["lean"] and v["word"] == verdict.ATTENTION:
        return say(
            f"{says} as well ({named}), {closed}: look for one cause of both, such as fuel pressure or unmetered air"
        )
    if v["lean"] and v["word"] == verdict.NO_EVENT:
        return say(
            f"{says} ({named}), and these pulls do not: the two disagree. It goes {closed}; what makes it lean there, "
            "such as a weak pump or unmetered air, may do so under load later: find the cause before the next pull"
        )
    return say(f"{says} ({named}), {closed}")


def cut_short(file: str, empty: bool) -> str:
    """That the drive's own file ends early or is empty, and what is lost by it."""
    what = (
        "is empty, and only the copies of marked pulls are left"
        if empty
        else "ends early, and of what came after only the copies of marked pulls are left"
    )
    return f"{file} {what}: pulls that nobody marked are lost. Copy the card again, or look for its damage"


_SAID = {
    Why.UNREADABLE: lambda one: say("no session could be read"),
    Why.MISSING: lambda one: needs.lacking(one.values["roles"]),
    Why.MISSING_OF: _missing_of,
    Why.REFUSED_CONFIG: _refused_config,
    Why.NO_PULL: lambda one: say("no pull was marked and none was found"),
    Why.LEAN: _lean,
    Why.CLEAN: _clean,
    Why.SYSTEMATIC: _systematic,
    Why.SPAN: _span,
    Why.LARGEST: _largest,
    Why.SPOILED_LEAN: lambda one: say(" is flagged spoiled, yet ", events.event(_event(one))),
    Why.NO_TARGET: _no_target,
    Why.SPOOL_LEAN: _spool_lean,
    Why.ONE_TARGET: lambda one: say(
        "the target is one number, and while boost builds up the mixture is rightly leaner: what is called lean early "
        "in a pull may be this alone. Log manifold pressure and give a target by load"
    ),
    Why.SPOOL_UNJUDGED: _spool_unjudged,
    Why.LAMP: _lamp,
    Why.WIRING: _wiring,
    Why.SPOILED: lambda one: say(" is flagged spoiled: shown, not judged"),
    Why.BLIND: _blind,
    Why.LITTLE: _little,
    Why.HIDDEN: _hidden,
    Why.DOUBT: lambda one: instruments.doubt(one.values["instrument"]),
    Why.STAND_IN: lambda one: instruments.stand_in(one.values["stand_in"]),
    Why.GAPS: _gaps,
    Why.LOST_PULLS: _lost_pulls,
    Why.ENDS_OPEN: _ends_open,
    Why.BEYOND_TARGET: _beyond_target,
    Why.WITHDRAWN: _withdrawn,
    Why.LOAD_UNTOLD: _load_untold,
    Why.OTHER_GEAR: _other_gear,
    Why.SLOWER_REST: _slower_rest,
    Why.UNMARKED: _unmarked,
    Why.CUT_SHORT: lambda one: say(cut_short(one.values["file"], one.values["empty"])),
    Why.CAR_CODES: _car_codes,
    Why.SINGLE: lambda one: say("a single pull does not show repeatability: do two more"),
}


def unanswered(pull) -> str | None:
    """That a pull without a lean event shows nothing, since instruments are contradicted on which that rests; None
    where they are not."""
    doubted = list(dict.fromkeys(one.called for one in pull.judged.doubted))
    return f"no answer: {', '.join(doubted)} contradicted" if doubted else None


def lean_events(pull, count: int) -> str:
    """What a judged pull came to, in a few words."""
    if not count:
        return unanswered(pull) or "no lean event"
    return "1 lean event" if count == 1 else f"{count} lean events"


def unjudged(pull) -> str | None:
    """Why a pull is not judged, in a few words for a table; None if it is judged."""
    if pull.spoiled:
        return "spoiled, not judged"
    if verdict.usable([pull]):
        return None
    if pull.judged_s <= 0:
        return "nothing to judge"
    return "one bank gave no reading" if pull.blind else "too little to judge"
