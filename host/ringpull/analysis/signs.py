"""What a drive shows outside the judged rows of its pulls: the lamp's word, wiring, and what was not recorded."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from types import SimpleNamespace

import numpy as np

from ringpull.analysis import other_runs
from ringpull.analysis.drive_state import roles
from ringpull.analysis.find_pulls import LEAST_S
from ringpull.analysis.judge import lamp, sensor, unrecorded, verdict
from ringpull.analysis.judge.lamp import Warned
from ringpull.analysis.judge.lean_events import DOUBT_DEPTH
from ringpull.analysis.judge.reasons import Reason, Why
from ringpull.analysis.judge.session import Judged, judge_span
from ringpull.analysis.rest_of_marked_run import not_told, slower
from shared_math.obd import codes


def of_drive(drive, pulls: Sequence, sessions: Iterable[Judged]) -> verdict.Signs:
    """All of a drive. pulls: answer.PullAnswer of each. sessions: those that are judged."""
    unjudged, aside = in_no_pull(drive, pulls)
    lost = [*without_target(pulls), *not_recorded(drive, pulls), *unjudged]
    return verdict.Signs(
        warnings(drive, pulls), wiring(sessions), drive.cut_short, lost, aside, refused(drive.sessions)
    )


def refused(sessions: Sequence) -> list[Reason]:
    """The configurations in the recording that can't be used, each mistake once."""
    found: dict[tuple, list[int]] = {}
    for one in sessions:
        if one.refused_config is not None:
            found.setdefault(one.refused_config, []).append(one.id)
    every = [tuple(ids) if len(ids) < len(sessions) else () for ids in found.values()]
    return [
        Reason(Why.REFUSED_CONFIG, values={"problem": problem, "sessions": ids})
        for problem, ids in zip(found, every, strict=True)
    ]


def without_target(pulls: Sequence) -> list[Reason]:
    """That the judged pulls were held against a target that nobody configured, for an engine that may be another."""
    usual = [pull.judged.target_source.usual for pull in verdict.usable(list(pulls))]
    guessed = next((one for one in usual if one is not None and one.guessed), None)
    if guessed is None:
        return []
    values = {"family": guessed.family or "petrol", "full": max(guessed.full), "boosted": guessed.at_boost}
    return [Reason(Why.NO_TARGET, values=values)]


def warnings(drive, pulls: Sequence) -> list[Warned]:
    """The lamp's warnings, compared with the judged pulls."""
    out = []
    for view in drive.views():
        near = [
            SimpleNamespace(
                number=p.number,
                start_s=p.pull.start_s,
                end_s=p.pull.end_s,
                spoiled=p.spoiled,
                events=[*p.lean_events, *p.spoiled_events],
            )
            for p in pulls
            if p.pull.view is view
        ]
        out += [lamp.held_against(view.judged, view.session.id, one, near) for one in view.session.lean_warnings]
    return out


def not_recorded(drive, pulls: Sequence) -> list[Reason]:
    """What of the drive was not recorded, or has no mark that counts: pulls, or the ends of pulls, may be lost."""
    found, lost, ends = [], 0, []
    for view in drive.views():
        session = view.session
        here = [p.pull for p in pulls if p.pull.view is view]
        spans = [(one.start_s, one.end_s) for one in here]
        missing = session.unrecorded()
        if missing:
            found += unrecorded.gaps(view.columns, missing, spans, LEAST_S)
            lost += session.lost_marks
        still_open = {one.start_s for one in session.marks if one.end_s is None and not one.void}
        cut = [one for one in here if one.source == "mark" and one.start_s in still_open]
        for one in cut:
            if not one.spoiled:
                ends += unrecorded.ends_open(view.judged, one.start_s, one.end_s, one.number)
        if not cut and len(view.columns):  # ended by the button or by itself, in no marked pull
            ends += unrecorded.ends_open(view.judged, 0.0, session.duration_s)
        ends += untold(view.judged, here)
    return [*ends, *unrecorded.reasons(found, lost)]


def in_no_pull(drive, pulls: Sequence) -> tuple[list[Reason], list[Reason]]:
    """(what forbids a calm answer, what is said beside it) of runs that are in no pull, where nothing but engine speed
    tells load. pulls: as in `of_drive`."""
    doubts: list[Reason] = []
    equal: list[other_runs.Run] = []
    for view in drive.views():
        if not speed_alone(view.judged):
            continue
        found = other_runs.runs(view.columns)
        here = [p.pull for p in pulls if p.pull.view is view]
        spans = [(one.start_s, one.end_s) for one in here]
        void = [mark.start_s for mark in view.session.marks if mark.void]
        taken = []
        for press_s, run in other_runs.withdrawn(found, void, spans):
            values = {"press_s": press_s, "rpm_from": run.rpm_from, "rpm_to": run.rpm_to}
            doubts.append(Reason(Why.WITHDRAWN, values=values))
            taken.append(run)
        for index, run in other_runs.in_other_gears(view.columns, found, spans):
            if run not in taken:
                values = {"start_s": run.start_s, "rpm_from": run.rpm_from, "rpm_to": run.rpm_to}
                doubts.append(Reason(Why.OTHER_GEAR, here[index].number, values=values))
                taken.append(run)
        equal += other_runs.as_fast(view.columns, found, spans, taken)
    if not equal:
        return doubts, []
    values = {
        "runs": len(equal),
        "start_s": equal[0].start_s,
        "rpm_from": min(one.rpm_from for one in equal),
        "rpm_to": max(one.rpm_to for one in equal),
    }
    return doubts, [Reason(Why.UNMARKED, values=values)]


def speed_alone(judged: Judged) -> bool:
    """Whether nothing but rising engine speed tells load."""
    return judged.load_rule.throttle_pct is None and judged.load_rule.full_kpa is None


def untold(judged: Judged, pulls: Sequence) -> list[Reason]:
    """What of the marked pulls may have been under load, where nothing but rising engine speed tells it."""
    if not speed_alone(judged):
        return []
    out = []
    for one in pulls:
        held = None if one.spoiled or one.source != "mark" else not_told(judged, one.start_s, one.end_s)
        if held is not None:
            seconds, rpm_from, rpm_to = held
            values = {"seconds": seconds, "rpm_from": rpm_from, "rpm_to": rpm_to}
            out.append(Reason(Why.LOAD_UNTOLD, one.number, values=values))
    return [*out, *slower_rests(judged, [one for one in pulls if one.source == "mark"])]


def slower_rests(judged: Judged, marked: Sequence) -> list[Reason]:
    """What goes on behind a mark, slower than other marks, and is not shown to be rich enough for full load."""
    out = []
    for index, start_s, end_s in slower(judged.columns, [(one.start_s, one.end_s) for one in marked]):
        found = judge_span(judged, start_s, end_s)
        known = found.excess_max is not None and found.excess_max <= DOUBT_DEPTH
        if marked[index].spoiled or end_s - start_s < verdict.HIDES_S or (known and not found.lean_events):
            continue
        rpm = judged.columns.rpm[judged.columns.rows(start_s, end_s)]
        values = {"seconds": end_s - start_s, "rpm_from": float(np.nanmin(rpm)), "rpm_to": float(np.nanmax(rpm))}
        out.append(Reason(Why.SLOWER_REST, marked[index].number, values=values | {"excess": found.excess_max}))
    return out


def told_by_car(drive, word: str) -> list[Reason]:
    """What the car's own computers say of the mixture, by their trouble codes. word: the verdict, which it leaves."""
    found: dict[str, str] = {}
    for session in drive.sessions:
        for unit in session.codes:
            for kind, listed in (("stored", unit.confirmed), ("pending", unit.pending), ("permanent", unit.permanent)):
                for code in listed or ():
                    found.setdefault(code, kind)
    out = []
    for lean in (True, False):
        said = tuple((code, kind) for code, kind in found.items() if (codes.mixture(code) or (0, None))[1] is lean)
        if said:
            out.append(Reason(Why.CAR_CODES, values={"codes": said, "lean": lean, "word": word}))
    return out


def wiring(sessions: Iterable[Judged]) -> list[verdict.Wiring]:
    """The sensors with electrical events."""
    found: dict[str, list[int]] = {}
    for judged in sessions:
        for name, bank in judged.banks.items():
            counts = found.setdefault(roles.called(judged.columns.config, name) if name else "", [0, 0])
            counts[0] += bank.output.steps
            counts[1] += bank.output.entries
    return [
        verdict.Wiring(name or "lambda", steps, entries if entries > sensor.MANY_ENTRIES else 0)
        for name, (steps, entries) in found.items()
        if steps or entries > sensor.MANY_ENTRIES
    ]
