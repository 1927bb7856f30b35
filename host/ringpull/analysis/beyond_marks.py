"""What the button left of a run where nothing but engine speed tells load: no throttle and no pressure is logged.

Rising engine speed alone is no full load. It is beside a mark, as long as it rises as it does within the mark.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ringpull.analysis import local
from ringpull.analysis.drive_state import under_load
from ringpull.analysis.drive_state.columns import Columns

BORDER_S = 1.0  # so much of a mark, beside the press, tells how fast engine speed rises at full load
# The least share of that rise: towards its highest speeds an engine pulls less, so that more is asked before the mark
SHARE_AFTER, SHARE_BEFORE = 0.5, 0.75
STUMBLE_S = 0.4  # a slower rise shorter than this does not end a run
NEAR_S = 1.0  # a press so shortly before a run, or behind its end, was meant for it


def rests(columns: Columns, marked: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """(start_s, end_s) of the runs that go on beyond a mark, by engine speed alone. marked: (start_s, end_s)."""
    slope = under_load.speed_slope(columns)
    rows = [columns.rows(start_s, end_s) for start_s, end_s in sorted(marked)]
    out = []
    for k, mark in enumerate(rows):
        floor = rows[k - 1].stop if k else 0
        ceiling = rows[k + 1].start if k + 1 < len(rows) else len(columns)
        border = min(round(BORDER_S / columns.period_s), mark.stop - mark.start)
        first = _reach(slope[floor : mark.start][::-1], slope[mark.start : mark.start + border], SHARE_BEFORE, columns)
        last = _reach(slope[mark.stop : ceiling], slope[mark.stop - border : mark.stop], SHARE_AFTER, columns)
        out += [(mark.start - first, mark.start)] if first else []
        out += [(mark.stop, mark.stop + last)] if last else []
    return [(float(columns.time_s[a]), float(columns.time_s[b - 1] + columns.period_s)) for a, b in merged(out)]


def _reach(beyond: np.ndarray, border: np.ndarray, share: float, columns: Columns) -> int:
    """The number of rows, counted from the press, in which engine speed goes on rising. beyond, border: rises in rpm/s
    outside and inside the mark."""
    with np.errstate(invalid="ignore"):
        pulling = border[border > under_load.RISING_RPM_S]
        if len(pulling) * 2 < max(len(border), 1) or not len(beyond):
            return 0
        goes_on = beyond > max(under_load.RISING_RPM_S, share * float(np.median(pulling)))
    at_press = np.concatenate([[True], goes_on])
    return local.spans(local.close_gaps(at_press, round(STUMBLE_S / columns.period_s)))[0][1] - 1


def merged(spans: Sequence[tuple[int, int]]) -> list[tuple[int, int]]:
    """Spans without their overlaps: the rest of one mark may be what comes before the next."""
    out: list[tuple[int, int]] = []
    for start, end in sorted(spans):
        if out and start <= out[-1][1]:
            out[-1] = (out[-1][0], max(end, out[-1][1]))
        else:
            out.append((start, end))
    return out


def withdrawn(
    presses_s: Sequence[float], runs: Sequence[tuple[float, float]], pulls: Sequence[tuple[float, float]]
) -> list[tuple[float, float]]:
    """(start_s, end_s) of the runs whose only mark was withdrawn. presses_s: times of the void marks. runs, pulls:
    (start_s, end_s) of rising engine speed, and of the drive's pulls."""
    return [
        (start_s, end_s)
        for start_s, end_s in runs
        if any(start_s - NEAR_S <= at <= end_s + NEAR_S for at in presses_s)
        and not any(a < end_s and start_s < b for a, b in pulls)
    ]
