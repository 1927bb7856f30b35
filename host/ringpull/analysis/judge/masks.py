"""Named masks for rows that are not judged.

Masks are at the time of injection. What concerns the sensor itself (saturation, states of its controller) is moved
there with the gas.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from ringpull.analysis import local
from ringpull.analysis.delay.align import Aligned
from ringpull.analysis.drive_state import overrun, roles, sensor_range, under_load
from ringpull.analysis.drive_state.columns import Columns
from shared_math import judging

COLD_DEGC = 60.0
RECOVERY_S = 0.5
REFILL_S = 1.0
TIP_IN_PCT = float(judging.TIP_IN_PCT)
TIP_IN_KPA = float(judging.TIP_IN_KPA)
TIP_IN_WINDOW_S = judging.TIP_IN_WINDOW_MS / 1000
TIP_IN_S = judging.SETTLE_MS / 1000
SPOOL_S = 0.5
DROP_RPM_S = float(judging.FALLING_RPM_S)
AFTER_CHANGE_S = 0.3
CHANGE_MOST_S, AGAIN_S = 1.5, 1.0  # a gear change takes no longer, and load is back so soon after it; else: coasting
GAP_S = 0.1  # so close to a gap the lag can't be removed

# Masks of rows that are not under load, at the ends of every pull: not the reason why little of it is judged
OFF_LOAD = ("overrun_cut", "lift", "coasting")

# Masks that an ordinary pull does not have, and that could hide a lean event
FAULTS = ("not_recorded", "tach_loss", "controller_state", "electrical", "saturation", "warm_up", "no_target")


@dataclass(frozen=True)
class Masks:
    """by_name: mask -> bool array (rows,), True where it takes out the row. lean_rail: at the lean end of the range."""

    by_name: Mapping[str, np.ndarray]
    lean_rail: np.ndarray

    def __post_init__(self) -> None:
        object.__setattr__(self, "by_name", MappingProxyType(dict(self.by_name)))

    @property
    def valid(self) -> np.ndarray:
        """The rows that no mask takes out."""
        return ~np.any(np.stack(list(self.by_name.values())), axis=0)

    def seconds(self, rows: slice, period_s: float) -> dict[str, float]:
        """mask -> seconds that it takes out of `rows`, for masks that take any. A row may be in several masks."""
        out = {}
        for name, flags in self.by_name.items():
            count = int(np.count_nonzero(flags[rows]))
            if count:
                out[name] = round(count * period_s, 3)
        return out


def jump(values: np.ndarray, period_s: float, window_s: float, least: float) -> np.ndarray:
    """Where a column rose by more than `least` within the last `window_s`."""
    rows = max(1, round(window_s / period_s))
    out = np.zeros(len(values), bool)
    with np.errstate(invalid="ignore"):
        out[rows:] = values[rows:] - values[:-rows] > least
    return out


def tip_in(columns: Columns) -> np.ndarray:
    """Where the throttle was just opened; if only engine speed is logged, the first SPOOL_S of its rise."""
    if columns.throttle is not None and overrun.throttle_tells(columns):
        return jump(columns.throttle, columns.period_s, TIP_IN_WINDOW_S, TIP_IN_PCT)
    if columns.map_kpa is not None:
        return jump(columns.map_kpa, columns.period_s, TIP_IN_WINDOW_S, TIP_IN_KPA)
    out = np.zeros(len(columns), bool)
    started = local.close_gaps(under_load.rising(columns), round(0.5 / columns.period_s))
    for first, _ in local.spans(started):
        out[first : first + round(SPOOL_S / columns.period_s)] = True
    return out


def sensors_off(columns: Columns) -> tuple[np.ndarray, np.ndarray]:
    """(rows without lambda because a sensor is heating, rows without lambda for other reasons), at the sensor's time.

    A row has lambda if the sensor of any bank gives it.
    """
    sensors = {c.name for c in roles.lambda_channels(columns.config.channels)} | set(columns.banks)
    off = ~np.isfinite(columns.lambda_)
    heating = np.zeros(len(columns), bool)
    each = []
    for sensor in sensors:
        told = columns.banks.get(sensor)
        silent = off.copy() if told is None else ~np.isfinite(told)
        for (channel, name), flags in columns.states.items():
            if channel == sensor:
                silent |= flags
                heating |= flags & (columns.meaning(channel, name) == judging.HEATING)
        each.append(silent)
    off = off | np.all(each, axis=0) if each else off
    return off & heating, off & ~heating


def lifts(lifted: np.ndarray, opened: np.ndarray, changing: np.ndarray, period_s: float) -> np.ndarray:
    """The rows of each lift and RECOVERY_S after it.

    If the throttle opens again soon, in the same gear, the wall film that a fuel cut has dried needs REFILL_S more.
    """
    out = local.spread_after(lifted, round(RECOVERY_S / period_s))
    for first, last in local.spans(lifted):
        again = np.flatnonzero(opened[last : last + round(AGAIN_S / period_s)]) + last
        if len(again) and not changing[first : again[-1]].any():
            out[first : again[-1] + 1 + round(REFILL_S / period_s)] = True
    return out


@dataclass(frozen=True)
class Known:
    """Facts of a session beside its columns, bool arrays (rows,).

    Rows of spoiled pulls, rows without a target, and rows whose gas may have reached the sensor after the load was
    taken off (None if the delay is known). electrical: rows at the time of injection that no sensor measured, at least
    one of them because of electrical events. at_limiter: rows in which a limiter, not a gear change, lets speed fall.
    loaded: rows under load, to tell gear changes from coasting.
    """

    spoiled: np.ndarray
    no_target: np.ndarray
    delay_assumed: np.ndarray | None = None
    electrical: np.ndarray | None = None
    at_limiter: np.ndarray | None = None
    loaded: np.ndarray | None = None


def gear_changes(falling: np.ndarray, loaded: np.ndarray, period_s: float) -> np.ndarray:
    """Those of the rows with falling engine speed that belong to a gear change: it is short, and load follows."""
    out = np.zeros(len(falling), bool)
    for first, last in local.spans(local.close_gaps(falling, round(AFTER_CHANGE_S / period_s))):
        if (last - first) * period_s <= CHANGE_MOST_S and loaded[last : last + round(AGAIN_S / period_s)].any():
            out[first:last] = True
    return falling & out


def masks(columns: Columns, aligned: Aligned, known: Known | None = None) -> Masks:
    """All masks of a session at the time of injection."""
    period_s = columns.period_s
    rows = len(columns)
    known = Known(np.zeros(rows, bool), np.zeros(rows, bool)) if known is None else known

    def after(flags: np.ndarray, seconds: float) -> np.ndarray:
        return local.spread_after(flags, round(seconds / period_s))

    def from_sensor(flags: np.ndarray) -> np.ndarray:
        return flags[aligned.sensor_row]

    warm, state = sensors_off(columns)
    warm_here = from_sensor(warm)
    coolant = columns.extra.get("coolant")
    with np.errstate(invalid="ignore"):
        if coolant is not None:
            warm_here |= coolant < COLD_DEGC
        _, slope, _ = local.line(columns.rpm, period_s, local.half_rows(0.1, period_s))
        falling = slope < -DROP_RPM_S
    if known.at_limiter is not None:
        falling &= ~known.at_limiter
    changing = falling if known.loaded is None else gear_changes(falling, known.loaded, period_s)
    lost = columns.extra["present"] < 0.5 if "present" in columns.extra else np.zeros(rows, bool)
    lost_here = lost | from_sensor(lost)
    near = round(GAP_S / period_s)
    beside = local.spread_after(lost_here, near) | local.spread_after(lost_here[::-1], near)[::-1]
    rich_rail, lean_rail = sensor_range.rails(columns)
    electrical = np.zeros(rows, bool) if known.electrical is None else known.electrical & ~warm_here
    untold = ~np.isfinite(aligned.lambda_) & ~warm_here & ~electrical
    not_recorded = lost_here | (untold & beside)
    by_name = {
        "warm_up": warm_here,
        "controller_state": ((from_sensor(state & ~warm & ~lost) & ~warm_here) | (untold & ~beside)) & ~electrical,
        "overrun_cut": after(overrun.overrun(columns), RECOVERY_S),
        "tip_in": after(tip_in(columns), TIP_IN_S),
        "gear_change": after(changing, AFTER_CHANGE_S),
        "coasting": after(falling & ~changing, AFTER_CHANGE_S),
        "lift": lifts(overrun.lifted(columns), tip_in(columns), changing, period_s),
        "tach_loss": ~np.isfinite(columns.rpm) & ~lost,
        "saturation": from_sensor(rich_rail | lean_rail),
        "spoiled": known.spoiled,
        "not_recorded": not_recorded,
        "no_target": known.no_target & ~not_recorded,
    }
    if electrical.any():
        by_name["electrical"] = electrical
    if known.delay_assumed is not None:
        by_name["delay_assumed"] = known.delay_assumed
    return Masks(by_name, from_sensor(lean_rail))
