"""What the button left of a run where nothing but engine speed tells load: no throttle and no pressure is logged.

Rising engine speed alone is no full load. It is beside a mark, as long as it rises as it does within the mark.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ringpull.analysis.drive_state import under_load
from ringpull.analysis.drive_state.columns import Columns
from ringpull.analysis.judge.session import Judged

BORDER_S = 1.0  # the run's last second tells how fast engine speed rises at full load there
# The least share of that rise; before the mark more is asked, since part throttle often leads to a pull
SHARE_AFTER, SHARE_BEFORE = 0.65, 0.75
LEAST_TOP_RPM = 1500.0  # a run that ends lower is the engine's start
STUMBLE_S = 0.4  # a slower rise shorter than this does not end a run
FALLS_RPM_S = -50.0  # engine speed that falls faster is coasting
HELD_S, WAITS_S = 1.0, 3.0  # a hold worth a word; what a driver may wait between the press and the throttle


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
    """The number of rows, counted from the press, in which engine speed goes on rising as it did the second before.
    beyond, border: rises in rpm/s outside and inside the mark, from the press on and up to it or away from it."""
    with np.errstate(invalid="ignore"):
        pulling = border[border > under_load.RISING_RPM_S]
    if len(pulling) * 2 < max(len(border), 1) or not len(beyond):
        return 0
    within, stumble = max(1, round(BORDER_S / columns.period_s)), round(STUMBLE_S / columns.period_s)
    usual = float(np.median(pulling))
    reach = slower = 0
    for k, rise in enumerate(beyond.tolist()):
        if rise > max(under_load.RISING_RPM_S, share * usual):
            reach, slower = k + 1, 0
            usual += (rise - usual) / within
        else:
            slower += 1
            if slower > stumble:
                break
    return reach


def merged(spans: Sequence[tuple[int, int]]) -> list[tuple[int, int]]:
    """Spans without their overlaps: the rest of one mark may be what comes before the next."""
    out: list[tuple[int, int]] = []
    for start, end in sorted(spans):
        if out and start <= out[-1][1]:
            out[-1] = (out[-1][0], max(end, out[-1][1]))
        else:
            out.append((start, end))
    return out


def not_told(judged: Judged, start_s: float, end_s: float) -> tuple[float, float, float] | None:
    """(seconds, rpm from, rpm to) of a marked pull in which engine speed neither rose enough to tell load nor fell: a
    hold, or a slow rise. Before the rise the driver may have waited. None for less than is worth a word."""
    columns = judged.columns
    rows = columns.rows(start_s, end_s)
    loaded, rpm = judged.loaded[rows], columns.rpm[rows]
    with np.errstate(invalid="ignore"):
        kept = ~loaded & (under_load.speed_slope(columns)[rows] > FALLS_RPM_S) & (rpm > LEAST_TOP_RPM)
    first = int(np.argmax(loaded)) if loaded.any() else len(loaded)
    waited = int(np.count_nonzero(kept[:first]))
    if waited * columns.period_s < WAITS_S:
        kept[:first] = False
    seconds = float(np.count_nonzero(kept) * columns.period_s)
    return (seconds, float(rpm[kept].min()), float(rpm[kept].max())) if seconds >= HELD_S else None
