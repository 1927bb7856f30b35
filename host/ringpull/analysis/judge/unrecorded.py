"""What of a drive was not recorded, outside what its pulls tell: pulls may be lost there."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ringpull.analysis.drive_state.columns import Columns
from ringpull.analysis.judge.reasons import Reason, Why
from ringpull.analysis.judge.session import Judged
from shared_math import judging

BESIDE_S = 1.0  # so near to a gap the engine's turning tells that it turned inside
AT_END_S = 0.3  # a pull that is under load so shortly before the last row goes on unseen


def turning(columns: Columns, start_s: float, end_s: float) -> bool:
    """Whether the engine ran on either side of a gap, or its speed is not known there."""
    beside = [columns.rows(start_s - BESIDE_S, start_s), columns.rows(end_s, end_s + BESIDE_S)]
    rpm = np.concatenate([columns.rpm[rows] for rows in beside])
    known = rpm[np.isfinite(rpm)]
    return bool((known >= judging.RUNNING_RPM).any()) if len(known) else len(rpm) > 0


def gaps(
    columns: Columns, missing: Sequence[tuple[float, float]], pulls: Sequence[tuple[float, float]], least_s: float
) -> list[tuple[float, float]]:
    """(start_s, end_s) of the gaps long enough for a pull that lie in none, while the engine ran. missing: gaps.
    least_s: the length of the shortest pull."""
    outside = [
        (start_s, end_s)
        for start_s, end_s in missing
        if end_s - start_s >= least_s and not any(a < end_s and start_s < b for a, b in pulls)
    ]
    return [one for one in outside if turning(columns, *one)]


def reasons(found: Sequence[tuple[float, float]], lost_marks: int) -> list[Reason]:
    """The reasons of a drive. found: of `gaps`, over all sessions. lost_marks: marked pulls without a row."""
    out = [Reason(Why.LOST_PULLS, values={"pulls": lost_marks})] if lost_marks else []
    if found:
        start_s, end_s = max(found, key=lambda one: one[1] - one[0])
        seconds = sum(b - a for a, b in found)
        told = {"seconds": seconds, "gaps": len(found), "start_s": start_s, "end_s": end_s}
        out.append(Reason(Why.GAPS, values=told))
    return out


def ends_open(judged: Judged, start_s: float, end_s: float, number: int | None = None) -> list[Reason]:
    """The reason of a recording that was under load at its last row. number: of the pull that was still marked there;
    None without one. start_s, end_s: of the pull, or of the recording."""
    rows = judged.columns.rows(max(start_s, end_s - AT_END_S), end_s + judged.columns.period_s)
    if not judged.loaded[rows].any():
        return []
    rpm = judged.columns.rpm[rows]
    known = rpm[np.isfinite(rpm)]
    return [Reason(Why.ENDS_OPEN, number, values={"rpm": float(known[-1]) if len(known) else float("nan")})]
