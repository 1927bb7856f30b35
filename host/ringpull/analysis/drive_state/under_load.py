"""Where the engine is under load, from whatever the drive has logged: the lamp's rule for whole columns."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from ringpull.analysis import local
from ringpull.analysis.drive_state import overrun
from ringpull.analysis.drive_state.columns import Columns
from shared_math import judging

THROTTLE_LEAST_PCT = 40.0  # no smaller opening is called load, so that a gentle drive has none
THROTTLE_SHARE = 0.8  # share of the drive's widest opening, if that is lower: for sensors that never show 100 %
STANDING_RPM = 50.0
STANDING_KPA = (50.0, 110.0)  # possible pressures of the surrounding air
STANDING_S = 0.3
WIDE_S = 0.5
FLAT_SHARE = 0.8  # share of idling at the pressure of full load from which the engine is said to make no vacuum
SMOOTH_S = 0.1
RISING_RPM_S = 100.0
SLOPE_WINDOW_S = 0.30


@dataclass(frozen=True)
class Rule:
    """The limits that show load, each None if it isn't used.

    throttle_pct: throttle in per cent. full_kpa: pressure in kPa (at the drive's highest air pressure). rising_rpm_s:
    rise of engine speed in rpm/s. no_vacuum: the engine makes no vacuum, so only boost pressure shows load.
    """

    throttle_pct: float | None = None
    full_kpa: float | None = None
    rising_rpm_s: float | None = None
    no_vacuum: bool = False


def rising(columns: Columns) -> np.ndarray:
    """Where engine speed over SLOPE_WINDOW_S rises by more than RISING_RPM_S."""
    with np.errstate(invalid="ignore"):
        return speed_slope(columns) > RISING_RPM_S


def speed_slope(columns: Columns) -> np.ndarray:
    """Rise of engine speed in rpm/s over SLOPE_WINDOW_S, (rows,)."""
    return local.line(columns.rpm, columns.period_s, local.half_rows(SLOPE_WINDOW_S, columns.period_s))[1]


def ambient_kpa(columns: Columns) -> np.ndarray:
    """Pressure of the surrounding air, (rows,).

    From a channel of its own, else the manifold's last reading with the engine stopped, else `highest_kpa` limited to
    standard air.
    """
    rows = len(columns)
    known = columns.extra.get("ambient")
    if known is None or not np.isfinite(known).any():
        pressure = np.full(rows, np.nan) if columns.map_kpa is None else columns.map_kpa
        with np.errstate(invalid="ignore"):
            stands = columns.rpm < STANDING_RPM
            stands &= (pressure > STANDING_KPA[0]) & (pressure < STANDING_KPA[1])
        known = np.full(rows, np.nan)
        for first, last in local.spans(stands):
            if (last - first) * columns.period_s >= STANDING_S:
                known[first:last] = np.median(pressure[first:last])
        if not np.isfinite(known).any():
            return np.full(rows, min(float(judging.STANDARD_KPA), highest_kpa(columns)))
    there = np.isfinite(known)
    last_row = np.maximum.accumulate(np.where(there, np.arange(rows), -1))
    return known[np.where(last_row < 0, int(np.argmax(there)), last_row)]


def highest_kpa(columns: Columns) -> float:
    """The highest manifold pressure of a full manifold; infinite if there was none."""
    pressure = columns.map_kpa
    if pressure is None:
        return np.inf
    known = np.isfinite(pressure)
    if columns.throttle is not None and overrun.throttle_tells(columns):
        with np.errstate(invalid="ignore"):
            known &= columns.throttle >= judging.LOADED_PCT
    if np.count_nonzero(known) * columns.period_s < WIDE_S:
        return np.inf
    return float(np.percentile(pressure[known], 99.9))


def full_kpa(columns: Columns, beside_throttle: bool | None = None) -> np.ndarray:
    """The manifold pressure from which the engine is under load, (rows,).

    beside_throttle: whether a throttle channel is used as well; from the drive unless given.
    """
    beside = overrun.throttle_tells(columns) if beside_throttle is None else beside_throttle
    return by_air(columns, lambda ambient: judging.full_kpa(ambient, beside))


def by_air(columns: Columns, limit: Callable[[float], float]) -> np.ndarray:
    """A limit as a function of the surrounding air's pressure, (rows,)."""
    values, which = np.unique(np.round(ambient_kpa(columns), 1), return_inverse=True)
    return np.array([limit(float(one)) for one in values])[which]


def makes_no_vacuum(columns: Columns, full: np.ndarray) -> bool:
    """Whether the idling engine is at the pressure of full load, so that pressure does not show load."""
    if columns.map_kpa is None:
        return False
    known = np.isfinite(columns.map_kpa)
    idle = overrun.idling(columns) & known
    if np.count_nonzero(idle) * columns.period_s < judging.NO_VACUUM_MS / 1000:
        return False
    return bool(np.mean(columns.map_kpa[idle] >= full[idle]) > FLAT_SHARE)


def boosted_kpa(columns: Columns) -> np.ndarray:
    """The manifold pressure from which an engine without vacuum is under load, (rows,).

    Infinite if the drive never reached it for WIDE_S.
    """
    limits = by_air(columns, judging.boosted_kpa)
    with np.errstate(invalid="ignore"):
        shown = np.count_nonzero(columns.map_kpa >= limits)
    return limits if shown * columns.period_s >= WIDE_S else np.full(len(columns), np.inf)


def high(columns: Columns) -> tuple[np.ndarray, Rule] | None:
    """(where throttle or manifold pressure show load, the rule); None if neither can."""
    throttle, pressure = columns.throttle, columns.map_kpa
    nothing = np.full(len(columns), np.nan)
    opened = np.inf
    if throttle is not None and overrun.throttle_tells(columns):
        most = float(np.nanpercentile(throttle, 99.9))
        opened = min(float(judging.LOADED_PCT), max(THROTTLE_LEAST_PCT, THROTTLE_SHARE * most))
    flat = False
    full = np.full(len(columns), np.inf)
    if pressure is not None and np.isfinite(pressure).any():
        limits = full_kpa(columns)
        flat = makes_no_vacuum(columns, limits)
        full = boosted_kpa(columns) if flat else limits
    if np.isinf(opened) and np.isinf(full).all():
        return None
    pct = nothing if throttle is None else throttle
    kpa = nothing if pressure is None else local.mean(pressure, local.half_rows(SMOOTH_S, columns.period_s))[0]
    with np.errstate(invalid="ignore"):
        loaded = judging.under_load(kpa, full, pct, opened)
        if np.isfinite(opened):
            loaded &= ~(pct < overrun.closed_pct(columns))
    highest = float(full.max(initial=0.0))
    rule = Rule(
        opened if np.isfinite(opened) else None,
        highest if np.isfinite(highest) else None,
        no_vacuum=flat,
    )
    return loaded, rule


def under_load(columns: Columns) -> tuple[np.ndarray, Rule]:
    """(where the engine is under load (rows,), rule): throttle or pressure is high.

    With neither channel, or with boost pressure alone, rising engine speed counts as well.
    """
    known = high(columns)
    if known is None:
        full = full_kpa(columns) if columns.map_kpa is not None else np.zeros(len(columns))
        return rising(columns), Rule(rising_rpm_s=RISING_RPM_S, no_vacuum=makes_no_vacuum(columns, full))
    loaded, rule = known
    if rule.no_vacuum and rule.throttle_pct is None:
        return loaded | rising(columns), replace(rule, rising_rpm_s=RISING_RPM_S)
    return known


def still_loaded(loaded: np.ndarray, columns: Columns, met_s: np.ndarray) -> np.ndarray:
    """The rows of `loaded` whose gas reached the sensor before the load was taken off.

    Otherwise, with an assumed delay that is too long, readings after the throttle closed would count as the end of the
    pull. met_s: (rows,) time at which each row's gas reached the sensor, lag included.
    """
    met = np.clip(np.ceil(columns.place(met_s)), 0, len(columns) - 1)
    reached = np.isfinite(met)
    return loaded & reached & loaded[np.where(reached, met, 0).astype(np.int64)]
