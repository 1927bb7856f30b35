"""When the engine is under load, with whatever the drive has logged."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ringpull.analysis import local
from ringpull.analysis.drive_state.columns import Columns
from shared_math import judging

THROTTLE_HIGH_PCT, THROTTLE_LEAST_PCT = float(judging.LOADED_PCT), 40.0
THROTTLE_SHARE = 0.8  # of the widest opening of the drive where that is lower: a sensor that never shows 100 %
MAP_HIGH_KPA, MAP_LEAST_KPA = float(judging.LOADED_KPA), float(judging.LOADED_LEAST_KPA)
MAP_HIGH_SHARE = (
    judging.LOADED_SHARE_PCT / 100
)  # of the highest pressure of the drive where that is lower: altitude, or a restricted engine
# Below the least values nothing is called load: a drive without any has none
RISING_RPM_S = 100.0
SLOPE_WINDOW_S = 0.30


@dataclass(frozen=True)
class Rule:
    """What tells load. by: "throttle" (limit in per cent), "pressure" (kPa) or "rising" engine speed (rpm/s)."""

    by: str
    limit: float


def rising(columns: Columns) -> np.ndarray:
    """Where engine speed rises by more than RISING_RPM_S, over SLOPE_WINDOW_S."""
    half = local.half_rows(SLOPE_WINDOW_S, columns.period_s)
    _, slope, _ = local.line(columns.rpm, columns.period_s, half)
    with np.errstate(invalid="ignore"):
        return slope > RISING_RPM_S


def opens(columns: Columns) -> bool:
    """Whether the throttle tells anything. One that never opens while the manifold fills does not: pressure serves."""
    if columns.throttle is None or not np.isfinite(columns.throttle).any():
        return False
    if columns.map_kpa is None or not np.isfinite(columns.map_kpa).any():
        return True
    opened = float(np.nanpercentile(columns.throttle, 99.9)) >= THROTTLE_LEAST_PCT
    return opened or float(np.nanpercentile(columns.map_kpa, 99.9)) < MAP_HIGH_KPA


def full_kpa(columns: Columns) -> float:
    """The manifold pressure from which on an engine is under load; infinite where pressure isn't logged."""
    if columns.map_kpa is None or not np.isfinite(columns.map_kpa).any():
        return np.inf
    share_kpa = MAP_HIGH_SHARE * float(np.nanpercentile(columns.map_kpa, 99.9))
    return min(MAP_HIGH_KPA, max(MAP_LEAST_KPA, share_kpa))


def high(columns: Columns) -> tuple[np.ndarray, Rule] | None:
    """(where throttle, else manifold pressure, is high; the rule), or None with neither logged."""
    with np.errstate(invalid="ignore"):
        if columns.throttle is not None and opens(columns):
            most = float(np.nanpercentile(columns.throttle, 99.9))
            limit = min(THROTTLE_HIGH_PCT, max(THROTTLE_LEAST_PCT, THROTTLE_SHARE * most))
            return columns.throttle >= limit, Rule("throttle", limit)
        limit = full_kpa(columns)
        if columns.map_kpa is not None and np.isfinite(limit):
            return columns.map_kpa >= limit, Rule("pressure", limit)
    return None


def under_load(columns: Columns) -> tuple[np.ndarray, Rule]:
    """(bool array, rule): high throttle or pressure; with lambda and speed alone, engine speed rising."""
    known = high(columns)
    if known is not None:
        return known
    return rising(columns), Rule("rising", RISING_RPM_S)


def still_loaded(loaded: np.ndarray, columns: Columns, met_s: np.ndarray) -> np.ndarray:
    """Rows of `loaded` whose gas met the sensor before the load was taken off: with a delay that is too long by
    assumption, what was measured after the throttle closed would else be taken for the end of the pull.

    met_s: (rows,) when each row's gas met the sensor, lag included.
    """
    met = np.clip(np.ceil((met_s - columns.time_s[0]) / columns.period_s), 0, len(columns) - 1)
    reached = np.isfinite(met)
    return loaded & reached & loaded[np.where(reached, met, 0).astype(np.int64)]
