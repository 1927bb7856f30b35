"""Where a rev limiter holds the engine at its highest speed under load. Many cut fuel there, which reads lean."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ringpull.analysis import local
from ringpull.analysis.drive_state import overrun
from ringpull.analysis.drive_state.columns import Columns

TOP_SHARE = 0.975  # of the drive's highest speed: a limiter's cuts scatter by some tens of rpm, and speed falls in each
HELD_RPM_S = 100.0  # engine speed rises no faster over the whole stretch,
FELL_RPM = 25.0  # or has fallen by so much in it although the engine is under load,
ROSE_RPM = 15.0  # and risen again by so much
LEAST_S = 0.15
SMOOTH_S = 0.06
JOIN_S = 0.3  # under load again so soon, it is the same stretch
AFTER_S = 0.15  # the last cut's event may outlast the stretch
Span = tuple[float, float]


def stretches(columns: Columns, loaded: np.ndarray) -> list[Span]:
    """(start_s, end_s) from the first to the last row near the highest speed, in each span under load in which speed is
    held or falls there. loaded: under_load.under_load()."""
    rpm = local.mean(columns.rpm, local.half_rows(SMOOTH_S, columns.period_s))[0]
    if not np.isfinite(rpm).any():
        return []
    with np.errstate(invalid="ignore"):
        near = loaded & (rpm >= TOP_SHARE * np.nanmax(rpm))
    out = []
    pedal_down = overrun.throttle_tells(columns)
    for begin, end in local.spans(local.close_gaps(loaded, round(JOIN_S / columns.period_s))):
        rows = np.flatnonzero(near[begin:end]) + begin
        if len(rows) and (rows[-1] + 1 - rows[0]) * columns.period_s >= LEAST_S:
            first, last = int(rows[0]), int(rows[-1]) + 1
            if held(rpm[first:last], columns.period_s, pedal_down):
                out.append((float(columns.time_s[first]), float(columns.time_s[last - 1] + columns.period_s)))
    return out


def held(rpm: np.ndarray, period_s: float, pedal_down: bool) -> bool:
    """Whether engine speed is held in a stretch, or falls in it and comes back.

    pedal_down: the throttle shows that the engine is under load, so that a fall alone is enough.
    """
    known = np.flatnonzero(np.isfinite(rpm))
    if len(known) < 2:
        return False
    fell = np.maximum.accumulate(rpm[known]) - rpm[known] >= FELL_RPM
    slope = float(np.polyfit(known * period_s, rpm[known], 1)[0])
    return abs(slope) <= HELD_RPM_S or bool((fell & (pedal_down | comes_back(rpm[known]))).any())


def comes_back(rpm: np.ndarray) -> np.ndarray:
    """The rows after which engine speed rises again within the stretch."""
    return np.maximum.accumulate(rpm[::-1])[::-1] - rpm >= ROSE_RPM


def falls_of(columns: Columns, spans: Sequence[Span]) -> np.ndarray:
    """The rows of the stretches after which speed rises again, so a fall there is no gear change: bool, (rows,)."""
    out = np.zeros(len(columns), bool)
    for span in spans:
        rows = columns.rows(*span)
        out[rows] = comes_back(np.nan_to_num(columns.rpm[rows]))
    return out


def at(start_s: float, end_s: float, spans: Sequence[Span]) -> Span | None:
    """The stretch in which half of an event or more lies."""
    for begin, end in spans:
        if min(end_s, end + AFTER_S) - max(start_s, begin) >= (end_s - start_s) / 2.0:
            return begin, end
    return None
