"""Whether the throttle channel can be used, its closed position, and where the fuel may be cut."""

from __future__ import annotations

import numpy as np

from ringpull.analysis import local
from ringpull.analysis.drive_state.columns import Columns
from shared_math import judging

CLOSED_PCT, REST_PCT = 5.0, 2.0
IDLE_S = 2.0
OVERRUN_RPM = 1300.0
OVERRUN_KPA = 35.0
SLOWS_S, SLOWS_RPM_S = 0.3, 100.0  # engine speed falls so fast, over so long
OPENS_PCT = 40.0  # a throttle that never opens so far while the manifold fills can't be used
FILLS_KPA = 85.0
LIFT_PCT, LIFT_KPA, LIFT_S = 40.0, 15.0, 0.2  # a foot off the pedal: throttle and pressure fall so far so soon
LIFT_BEGINS_PCT = 5.0
MOVES_PCT, MOVES_KPA = 3.0, 30.0  # nor can one that does not move while the pressure does


def overrun(columns: Columns) -> np.ndarray:
    """Where the fuel may be cut: throttle closed (if it can't be used: deep vacuum) with the engine turning fast."""
    with np.errstate(invalid="ignore"):
        fast = columns.rpm > OVERRUN_RPM
        if columns.throttle is not None and throttle_tells(columns):
            return fast & (columns.throttle < closed_pct(columns))
        if columns.map_kpa is not None:
            return fast & (columns.map_kpa < OVERRUN_KPA)
    return np.zeros(len(columns), bool)


def slowing(columns: Columns) -> np.ndarray:
    """Where engine speed falls from above OVERRUN_RPM: all that it tells by itself of where the fuel may be cut."""
    rows = max(1, round(SLOWS_S / columns.period_s))
    out = np.zeros(len(columns), bool)
    if len(columns) > rows:
        with np.errstate(invalid="ignore"):
            fell = columns.rpm[:-rows] - columns.rpm[rows:] > SLOWS_RPM_S * rows * columns.period_s
            fell &= columns.rpm[:-rows] > OVERRUN_RPM
        for first, last in local.spans(fell):
            out[first : last + rows] = True
    return out


def lifted(columns: Columns) -> np.ndarray:
    """Where the throttle falls by LIFT_PCT within LIFT_S, until it stays low or rises again; the fuel may be cut though
    it does not close.

    The pressure, if logged, must fall too: a throttle signal that drops out is no lift.
    """
    throttle, pressure = columns.throttle, columns.map_kpa
    out = np.zeros(len(columns), bool)
    rows = max(1, round(LIFT_S / columns.period_s))
    if throttle is None or not throttle_tells(columns) or len(columns) <= rows:
        return out
    before = local.highest_before(throttle, rows)
    with np.errstate(invalid="ignore"):
        fell = before - throttle > LIFT_PCT
        falls = before - throttle > LIFT_BEGINS_PCT
    for first, last in local.spans(falls):
        if fell[first:last].any() and _pressure_fell(pressure, first, last, rows):
            out[first:last] = True
    return out


def _pressure_fell(pressure: np.ndarray | None, first: int, last: int, rows: int) -> bool:
    """Whether pressure falls by LIFT_KPA around a fall of the throttle; True if it is not known there."""
    if pressure is None:
        return True
    before, after = pressure[max(0, first - rows) : first + 1], pressure[first : last + rows]
    before, after = before[np.isfinite(before)], after[np.isfinite(after)]
    return not len(before) or not len(after) or float(np.median(before) - after.min()) > LIFT_KPA


def throttle_tells(columns: Columns) -> bool:
    """Whether the throttle channel can be used: not if its closed position is far open, nor if it is stuck or never
    opens while the pressure changes."""
    throttle, pressure = columns.throttle, columns.map_kpa
    if throttle is None or not np.isfinite(throttle).any():
        return False
    rest = rest_pct(columns)
    if rest is not None and rest > judging.REST_MOST_PCT:
        return False
    if pressure is None or not np.isfinite(pressure).any():
        return True
    least, most = np.nanpercentile(throttle, (0.1, 99.9))
    low_kpa, high_kpa = np.nanpercentile(pressure, (0.1, 99.9))
    if most - least < MOVES_PCT and high_kpa - low_kpa > MOVES_KPA:
        return False
    return bool(most >= OPENS_PCT or high_kpa < FILLS_KPA)


def rest_pct(columns: Columns) -> float | None:
    """The throttle's reading at idle or in deep vacuum; None if less than IDLE_S of either was recorded."""
    if columns.throttle is None:
        return None
    with np.errstate(invalid="ignore"):
        rests = slow(columns)
        if columns.map_kpa is not None:
            rests |= (columns.rpm > judging.RUNNING_RPM) & (columns.map_kpa < OVERRUN_KPA)
    at_rest = columns.throttle[rests & np.isfinite(columns.throttle)]
    return float(np.percentile(at_rest, 10.0)) if len(at_rest) * columns.period_s >= IDLE_S else None


def slow(columns: Columns) -> np.ndarray:
    """Where engine speed is in the range of idling."""
    with np.errstate(invalid="ignore"):
        return (columns.rpm > 400.0) & (columns.rpm < judging.IDLE_RPM)


def idling(columns: Columns) -> np.ndarray:
    """Where the engine runs without load: throttle closed, or if that can't be used, at the speed of idling."""
    if columns.throttle is not None and throttle_tells(columns):
        with np.errstate(invalid="ignore"):
            return (columns.rpm > judging.RUNNING_RPM) & (columns.throttle < closed_pct(columns))
    return slow(columns)


def closed_pct(columns: Columns) -> float:
    """The reading below which the throttle is closed, which allows for a sensor that does not read 0 there."""
    rest = rest_pct(columns)
    return CLOSED_PCT if rest is None else max(CLOSED_PCT, min(rest, float(judging.REST_MOST_PCT)) + REST_PCT)
