"""What the analysis finds in open recordings of real drives, with a made-up mixture and planted lean events.

RINGPULL_RECORDINGS names a folder with a folder of CSV files for each car, fetched by hand: see
tests/bench/RECORDINGS.md.
"""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
from bench import random_drives as rd
from bench import real_drives

from ringpull.analysis import find_pulls
from ringpull.analysis.instruments import pressure_checks
from ringpull.analysis.instruments.glance import Glance
from ringpull.analysis.instruments.records import State
from ringpull.analysis.judge import session, spool

BEFORE_S, LEAST_JUDGED_S, LEAST_PLANTED_S = 0.5, 0.5, 0.3
FOLDER = os.environ.get("RINGPULL_RECORDINGS")


def drive(path: str) -> dict:
    """One recording: hours, stretches of full load, how many of them are judged when marked and when nobody marks them,
    planted events and how many were found either way, and false events in the recording as it was,
    checks of pressure that contradict a sensor without a fault."""
    counted = ("full", "judged", "unmarked", "planted", "found", "found_unmarked", "false", "pulls", "doubted")
    out = dict.fromkeys(counted, 0)
    out["hours"] = 0.0
    recording = real_drives.read(Path(path))
    if recording is None:
        return out
    out["hours"] = len(recording.time_s) / real_drives.RATE_HZ / 3600.0
    random = np.random.default_rng(len(recording.time_s))
    columns = real_drives.columns_of(recording, random)
    ready = session.prepare(columns, identified=False)
    glance = Glance.of(columns)
    checks = (pressure_checks.prompt(glance), pressure_checks.at_idle(glance))
    out["doubted"] = sum(one.state is State.CONTRADICTED for one in checks)
    spans = find_pulls.found_spans(columns)
    out["pulls"] = len(spans.pulls)
    alone = spans.pulls + spans.held
    out["false"] = sum(called(session.judge_span(ready, *span)) for span in alone)
    lean = [planted(*one) for one in recording.full]
    dented = session.prepare(
        real_drives.columns_of(recording, random, [one for one in lean if one is not None]), identified=False
    )
    for (first, last), hole in zip(recording.full, lean, strict=True):
        start_s, end_s = (float(recording.time_s[at]) for at in (first, last - 1))
        marked = (start_s - BEFORE_S, end_s + BEFORE_S)
        mine = [span for span in alone if span[0] < end_s and span[1] > start_s]
        numbers = session.judge_span(ready, *marked)
        out["full"] += 1
        out["judged"] += numbers.judged_s >= LEAST_JUDGED_S
        out["unmarked"] += sum(session.judge_span(ready, *span).judged_s for span in mine) >= LEAST_JUDGED_S
        out["false"] += called(numbers)
        if hole is not None:
            at_s = [float(recording.time_s[row]) for row in (hole[0], hole[1] - 1)]
            out["planted"] += 1
            out["found"] += seen(dented, [marked], at_s)
            out["found_unmarked"] += seen(dented, mine, at_s)
    return out


def planted(first: int, last: int) -> tuple[int, int] | None:
    """Rows of the event planted in a stretch: LEAN_S before its end, or where it is short in its second half, since the
    opening itself is judged by another rule; None where that is too little."""
    begin = max(last - round(real_drives.LEAN_S * real_drives.RATE_HZ), (first + last) // 2)
    return (begin, last) if last - begin >= LEAST_PLANTED_S * real_drives.RATE_HZ else None


def called(numbers: session.SpanAnswer) -> int:
    """How many lean places are called in one pull by itself."""
    return len(numbers.lean_events) + (numbers.spool is not None and spool.agreed([numbers.spool]))


def seen(judged: session.Judged, spans: list[tuple[float, float]], at_s: list[float]) -> bool:
    """Whether something lean of these spans is called where an event was planted, most of which may be an opening."""
    found = [session.judge_span(judged, *span) for span in spans]
    if any(e.start_s < at_s[1] + 0.2 and e.end_s > at_s[0] - 0.2 for one in found for e in one.lean_events):
        return True
    opening = judged.masks.by_name["tip_in"][judged.columns.rows(*at_s)]
    return float(opening.mean()) > 0.5 and any(called(one) for one in found)


def rows():
    if not FOLDER:
        yield "real drives", float("nan"), "", "not run: RINGPULL_RECORDINGS names no folder"
        return
    for car in sorted(path for path in Path(FOLDER).iterdir() if path.is_dir()):
        found = rd.in_pool(drive, [(str(path),) for path in sorted(car.glob("*.csv"))])
        total = {key: sum(one[key] for one in found) for key in found[0]}
        yield f"real drives, {car.name}", total["hours"], "h", f"{len(found)} recordings, {total['pulls']} pulls found"
        for what, key in (("judged", "judged"), ("judged without a mark", "unmarked")):
            remark = f"{total[key]} of {total['full']}; limit 100"
            yield f"  full-load stretches {what}", 100.0 * total[key] / max(total["full"], 1), "%", remark
        for what, key in (("found", "found"), ("found without a mark", "found_unmarked")):
            remark = f"{total[key]} of {total['planted']}; limit 100"
            yield f"  planted events {what}", 100.0 * total[key] / max(total["planted"], 1), "%", remark
        yield "  false events", float(total["false"]), "events", "limit 0"
        yield "  a blocked or loose hose told", float(total["doubted"]), "recordings", "limit 0"
