"""What the button left of a run where nothing but engine speed tells load: no throttle and no pressure is logged.

Rising engine speed alone is no full load. It is beside a mark, as long as it rises as it does within the mark; behind
it also as it does in the other marks at those speeds, where these tell it.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ringpull.analysis import local
from ringpull.analysis.drive_state import under_load
from ringpull.analysis.drive_state.columns import Columns
from ringpull.analysis.judge.session import Judged

BORDER_S = 1.0  # the run's last second tells how fast engine speed rises at full load there
# The least share of that rise; before the mark more is asked, since part throttle often leads to a pull
SHARE_AFTER, SHARE_BEFORE = 0.65, 0.75
# The least share of the rise that the other marks show at those speeds, with room for hills and wind
SHARE_OF_OTHERS, SPEED_STEP_RPM, STEP_LEAST_S = 0.8, 200.0, 0.05
SMOOTH_S = 0.4
SAME_GEAR = 0.25  # marks whose rises at one speed differ by more are of unlike gears, and tell nothing of each other
LEAST_TOP_RPM = 1500.0  # a run that ends lower is the engine's start
STUMBLE_S = 0.4  # a slower rise shorter than this does not end a run
FALLS_RPM_S = -50.0  # engine speed that falls faster is coasting
HELD_S, WAITS_S = 1.0, 3.0  # a hold worth a word; what a driver may wait between the press and the throttle


def rests(columns: Columns, marked: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """(start_s, end_s) of the runs that go on beyond a mark, by engine speed alone. marked: (start_s, end_s)."""
    return _rests(columns, marked)[0]


def slower(columns: Columns, marked: Sequence[tuple[float, float]]) -> list[tuple[int, float, float]]:
    """(index of the mark in order of time, start_s, end_s) of the runs behind a mark that rise on as in it, but slower
    than the other marks at those speeds: at part throttle, or uphill."""
    return _rests(columns, marked)[1]


def _rests(
    columns: Columns, marked: Sequence[tuple[float, float]]
) -> tuple[list[tuple[float, float]], list[tuple[int, float, float]]]:
    slope = under_load.speed_slope(columns)
    rows = [columns.rows(start_s, end_s) for start_s, end_s in sorted(marked)]
    out, slow = [], []

    def times(first: int, last: int) -> tuple[float, float]:
        return float(columns.time_s[first]), float(columns.time_s[last - 1] + columns.period_s)

    for k, mark in enumerate(rows):
        floor = rows[k - 1].stop if k else 0
        ceiling = rows[k + 1].start if k + 1 < len(rows) else len(columns)
        border = min(round(BORDER_S / columns.period_s), mark.stop - mark.start)
        first = _reach(slope[floor : mark.start][::-1], slope[mark.start : mark.start + border], SHARE_BEFORE, columns)
        last = _reach(slope[mark.stop : ceiling], slope[mark.stop - border : mark.stop], SHARE_AFTER, columns)
        out += [(mark.start - first, mark.start)] if first else []
        if last:
            whole = mark.stop + _as_fast(columns, slope, rows, k, border, last)
            out += [(mark.stop, whole)] if whole > mark.stop else []
            slow += [(k, *times(whole, mark.stop + last))] if whole < mark.stop + last else []
    return [times(a, b) for a, b in merged(out)], slow


def _as_fast(columns: Columns, slope: np.ndarray, marks: list[slice], index: int, border: int, reach: int) -> int:
    """The number of the first `reach` rows behind a mark in which engine speed rises as fast as in the other marks at
    those speeds, in proportion to the mark's last `border` rows. All of them where no other mark tells it."""
    mark = marks[index]
    ends, beyond = slice(mark.stop - border, mark.stop), slice(mark.stop, mark.stop + reach)
    with np.errstate(invalid="ignore"):
        pulling = slope[ends] > under_load.RISING_RPM_S
    own, own_rpm = float(np.median(slope[ends][pulling])), float(np.median(columns.rpm[ends][pulling]))
    expected = []
    for k, other in enumerate(marks):
        rises = [] if k == index else _rises(columns.rpm[other], slope[other], columns.period_s)
        at = np.array([rpm for rpm, _ in rises])
        if len(at) and at[0] <= own_rpm <= at[-1]:
            told = [rise for _, rise in rises]
            there = float(np.interp(own_rpm, at, told))
            if abs(there - own) <= SAME_GEAR * max(there, own):
                wanted = own / there * np.interp(columns.rpm[beyond], at, told)
                expected.append(np.where(columns.rpm[beyond] <= at[-1], wanted, np.nan))
    if not expected:
        return reach
    rise = local.mean(slope[mark.stop - border : mark.stop + reach], local.half_rows(SMOOTH_S, columns.period_s))[0]
    known = np.stack(expected)
    wanted = np.where(np.isfinite(known), known, 0.0).sum(axis=0) / np.maximum(np.isfinite(known).sum(axis=0), 1)
    with np.errstate(invalid="ignore"):
        behind = rise[border:] < SHARE_OF_OTHERS * wanted
    long = [a for a, b in local.spans(behind) if (b - a) * columns.period_s > STUMBLE_S]
    return long[0] if long else reach


def _rises(rpm: np.ndarray, slope: np.ndarray, period_s: float) -> list[tuple[float, float]]:
    """(rpm, median rise there in rpm/s) of a mark, by steps of speed, where it rises."""
    with np.errstate(invalid="ignore"):
        up = np.isfinite(rpm) & (slope > under_load.RISING_RPM_S)
    step = np.floor(rpm[up] / SPEED_STEP_RPM)
    each = [(one, slope[up][step == one]) for one in np.unique(step)]
    least = STEP_LEAST_S / period_s
    return [((float(one) + 0.5) * SPEED_STEP_RPM, float(np.median(some))) for one, some in each if len(some) >= least]


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
