"""Runs of rising engine speed that are in no pull, where nothing but engine speed tells load: what is said of them.

They are not judged. A mark tells full load, and beside its pull the rise tells it in the same gear; elsewhere a lower
gear at part throttle rises as fast.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ringpull.analysis import find_pulls
from ringpull.analysis.drive_state import under_load
from ringpull.analysis.drive_state.columns import Columns
from ringpull.analysis.rest_of_marked_run import LEAST_TOP_RPM

NEAR_S = 1.0  # a press so shortly before a run, or behind its end, was meant for it
WITHIN_S = 1.0  # what a run may share with a pull and be another one: a press comes late
CHANGE_S = 1.5  # a gear change takes no longer
# The least share of the rise that full load gives in the other gear: as the square of the ratio, less what the air and
# the wheels' own inertia take. Common practice, no source
SHARE_ACROSS = 0.65
SHARE_EQUAL = 0.85  # the least share of the rise in the pulls at the same engine speeds
BIN_RPM = 250.0

Span = tuple[float, float]


@dataclass(frozen=True)
class Run:
    """start_s, end_s: its span. rpm_from, rpm_to: engine speed at its ends."""

    start_s: float
    end_s: float
    rpm_from: float
    rpm_to: float


def runs(columns: Columns) -> list[Run]:
    """The runs of a session in which engine speed rises as in a pull."""
    out = []
    for first, last in find_pulls.rises(columns.rpm, columns.period_s):
        rpm = columns.rpm[first:last]
        run = Run(
            float(columns.time_s[first]), float(columns.time_s[last - 1]), float(np.nanmin(rpm)), float(np.nanmax(rpm))
        )
        seconds = run.end_s - run.start_s
        fast = run.rpm_to - run.rpm_from > under_load.RISING_RPM_S * seconds
        if seconds >= find_pulls.LEAST_S / 2 and fast and run.rpm_to > LEAST_TOP_RPM:
            out.append(run)
    return out


def withdrawn(found: Sequence[Run], presses_s: Sequence[float], known: Sequence[Span]) -> list[tuple[float, Run]]:
    """(press_s, run) of the runs whose only mark was withdrawn. presses_s: times of the void marks. known: (start_s,
    end_s) of the session's pulls."""
    out = []
    for run in found:
        near = [at for at in presses_s if run.start_s - NEAR_S <= at <= run.end_s + NEAR_S]
        touched = any(a < run.end_s and run.start_s < b for a, b in known)
        if near and not touched and run.end_s - run.start_s >= find_pulls.LEAST_S:
            out.append((near[0], run))
    return out


def in_other_gears(columns: Columns, found: Sequence[Run], known: Sequence[Span]) -> list[tuple[int, Run]]:
    """(index of the pull, run) of the runs before or after a gear change beside a pull that rise as full load does."""
    slope = under_load.speed_slope(columns)
    inside = [_shared(run, known) for run in found]
    out = []
    for k, run in enumerate(found):
        if inside[k] > WITHIN_S:
            continue
        for other in (k - 1, k + 1):
            if not 0 <= other < len(found) or inside[other] <= WITHIN_S:
                continue
            early, late = (run, found[other]) if other > k else (found[other], run)
            if late.start_s - early.end_s > CHANGE_S or late.rpm_from >= early.rpm_to:
                continue
            step = (late.rpm_from / early.rpm_to) ** 2
            expected = _rise(columns, slope, found[other]) * (1 / step if other > k else step)
            if _rise(columns, slope, run) >= SHARE_ACROSS * expected:
                index = max(range(len(known)), key=lambda n, at=other: _shared(found[at], [known[n]]))
                out.append((index, run))
                break
    return out


def as_fast(columns: Columns, found: Sequence[Run], known: Sequence[Span], taken: Sequence[Run]) -> list[Run]:
    """The runs that rise as fast as the pulls did at the same engine speeds, and are as long as a pull. taken: runs of
    which something else is said."""
    slope = under_load.speed_slope(columns)
    rows = np.zeros(len(columns), bool)
    for span in known:
        rows[columns.rows(*span)] = True
    usual = _by_speed(columns.rpm[rows], slope[rows])
    out = []
    for run in found:
        if run in taken or _shared(run, known) > WITHIN_S or run.end_s - run.start_s < find_pulls.LEAST_S:
            continue
        here = columns.rows(run.start_s, run.end_s)
        own = _by_speed(columns.rpm[here], slope[here])
        both = [own[at] / usual[at] for at in own if usual.get(at, 0.0) > under_load.RISING_RPM_S]
        if len(both) * BIN_RPM >= find_pulls.LEAST_RPM and float(np.median(both)) >= SHARE_EQUAL:
            out.append(run)
    return out


def _shared(run: Run, known: Sequence[Span]) -> float:
    """Seconds of a run that lie in pulls."""
    return sum(max(0.0, min(run.end_s, end_s) - max(run.start_s, start_s)) for start_s, end_s in known)


def _rise(columns: Columns, slope: np.ndarray, run: Run) -> float:
    """The usual rise of a run in rpm/s."""
    here = slope[columns.rows(run.start_s, run.end_s)]
    rising = here[np.isfinite(here) & (here > 0)]
    return float(np.median(rising)) if len(rising) else 0.0


def _by_speed(rpm: np.ndarray, slope: np.ndarray) -> dict[int, float]:
    """Bin of engine speed -> usual rise in it."""
    known = np.isfinite(rpm) & np.isfinite(slope)
    bins = (rpm[known] // BIN_RPM).astype(int)
    return {int(at): float(np.median(slope[known][bins == at])) for at in np.unique(bins)}
