"""Where the fuel may be cut: throttle closed, or deep vacuum, with the engine turning fast."""

from __future__ import annotations

import numpy as np

from ringpull.analysis.drive_state import under_load
from ringpull.analysis.drive_state.columns import Columns

CLOSED_PCT, REST_PCT = 5.0, 2.0
IDLE_RPM = (400.0, 1300.0)
IDLE_S = 2.0
OVERRUN_RPM = 1300.0
OVERRUN_KPA = 35.0


def overrun(columns: Columns) -> np.ndarray:
    """Where the fuel may be cut: throttle closed (without it, deep vacuum) with the engine turning fast."""
    with np.errstate(invalid="ignore"):
        fast = columns.rpm > OVERRUN_RPM
        if columns.throttle is not None and under_load.opens(columns):
            return fast & (columns.throttle < closed_pct(columns))
        if columns.map_kpa is not None:
            return fast & (columns.map_kpa < OVERRUN_KPA)
    return np.zeros(len(columns), bool)


def closed_pct(columns: Columns) -> float:
    """The throttle reading below which it is closed: a sensor that isn't set to nought shows where it rests at idle."""
    if columns.throttle is None:
        return CLOSED_PCT
    with np.errstate(invalid="ignore"):
        idle = columns.throttle[(columns.rpm > IDLE_RPM[0]) & (columns.rpm < IDLE_RPM[1])]
    idle = idle[np.isfinite(idle)]
    if len(idle) * columns.period_s < IDLE_S:
        return CLOSED_PCT
    return max(CLOSED_PCT, float(np.percentile(idle, 10.0)) + REST_PCT)
