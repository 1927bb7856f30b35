"""A session in means over STEP_S, and the moments in it that test instruments."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ringpull.analysis import local
from ringpull.analysis.drive_state import roles, target
from ringpull.analysis.drive_state.columns import Columns
from shared_math import judging

STEP_S = 0.05
RUNNING_RPM = 500.0
TURNING_RPM = 1800.0  # above this a closed throttle makes a vacuum
FALLING_RPM_S, RISING_RPM_S = 100.0, 100.0
SLOPE_S = 0.5
STARTS_RPM = 700.0  # a start begins below any idle speed
STANDING_S, STANDING_LEFT_OUT_S = 0.5, 0.3
CRANKING_S, FELL_KPA = 1.0, 15.0  # time that a starter may turn unseen; fall of pressure when the engine fires
CLOSED_S, CLOSED_AFTER_S = 0.5, 0.4
FULL_S, FULL_AFTER_S = 0.5, 0.5
CLOSED_ABOVE_REST_PCT = 4.0
FULL_SHARE, FULL_LEAST_PCT = 0.75, 40.0
REST_PERCENTILE, TOP_PERCENTILE = 1.0, 99.5


def decimated(values: np.ndarray, rows: int) -> np.ndarray:
    """Means of `rows` rows each; NaN if fewer than half of them are valid."""
    count = len(values) // rows
    block = values[: count * rows].reshape(count, rows)
    there = np.isfinite(block)
    n = there.sum(axis=1)
    total = np.where(there, block, 0.0).sum(axis=1)
    return np.where(2 * n >= rows, total / np.maximum(n, 1), np.nan)


def shares(flags: np.ndarray, rows: int) -> np.ndarray:
    """The share of True in each `rows` rows."""
    count = len(flags) // rows
    return flags[: count * rows].reshape(count, rows).mean(axis=1) if count else np.zeros(0)


@dataclass(frozen=True)
class Glance:
    """A session's columns with means of `rows` rows each; arrays of shape (steps,)."""

    columns: Columns
    rows: int

    @classmethod
    def of(cls, columns: Columns) -> Glance:
        return cls(columns, max(1, round(STEP_S / columns.period_s)))

    @property
    def step_s(self) -> float:
        return self.rows * self.columns.period_s

    def __len__(self) -> int:
        return len(self.columns) // self.rows

    def steps(self, seconds: float) -> int:
        """The number of steps in so many seconds; at least one."""
        return max(1, round(seconds / self.step_s))

    def span(self, first: int, last: int) -> tuple[float, float]:
        """(start_s, end_s) of the steps from `first` to before `last`."""
        return self.times(first * self.rows, last * self.rows)

    def times(self, first: int, last: int) -> tuple[float, float]:
        """(start_s, end_s) of the rows from `first` to before `last`."""
        time_s = self.columns.time_s
        return float(time_s[first]), float(time_s[min(last, len(time_s)) - 1]) + self.columns.period_s

    def mean(self, values: np.ndarray | None) -> np.ndarray:
        """The means of a column; NaN for a missing one."""
        return np.full(len(self), np.nan) if values is None else decimated(values, self.rows)

    @cached_property
    def rpm(self) -> np.ndarray:
        return self.mean(self.columns.rpm)

    @cached_property
    def map_kpa(self) -> np.ndarray:
        return self.mean(self.columns.map_kpa)

    @cached_property
    def throttle(self) -> np.ndarray:
        return self.mean(self.columns.throttle)

    @cached_property
    def wanted(self) -> np.ndarray:
        return self.mean(target.targets(self.columns)[0])

    @cached_property
    def present(self) -> np.ndarray:
        """Whether most rows were recorded."""
        told = self.columns.extra.get("present")
        return np.ones(len(self), bool) if told is None else shares(told > 0.5, self.rows) > 0.5

    @cached_property
    def rpm_slope(self) -> np.ndarray:
        """Rise of engine speed in rpm a second, over SLOPE_S."""
        if len(self) < 3:
            return np.full(len(self), np.nan)
        return local.line(self.rpm, self.step_s, local.half_rows(SLOPE_S, self.step_s))[1]

    @cached_property
    def running(self) -> np.ndarray:
        with np.errstate(invalid="ignore"):
            return self.rpm > RUNNING_RPM

    @cached_property
    def standing(self) -> list[tuple[int, int]]:
        """Runs of steps before a start, with the engine stopped.

        Rows were recorded without engine speed, and the first speed is that of a starter; or, from power-on, manifold
        pressure fell when engine speed appeared.
        """
        silent = ~np.isfinite(self.rpm) & self.present
        out = []
        for first, last in local.spans(silent):
            last -= self.steps(STANDING_LEFT_OUT_S)
            begins = self.rpm[last : last + self.steps(STANDING_LEFT_OUT_S + 0.8)]
            begins = begins[np.isfinite(begins)]
            if (last - first) * self.step_s < STANDING_S or not len(begins):
                continue
            if begins.min() < STARTS_RPM or (first == 0 and self._fell(last)):
                out.append(
                    (first, last - self.steps(CRANKING_S) if first == 0 and begins.min() >= STARTS_RPM else last)
                )
        return [(first, last) for first, last in out if last > first]

    def _fell(self, last: int) -> bool:
        """Whether pressure is lower after engine speed appeared than over all the steps before `last`."""
        after = self.map_kpa[last + self.steps(1.0) : last + self.steps(3.0)]
        before = self.map_kpa[:last]
        if not np.isfinite(after).any() or not np.isfinite(before).any():
            return False
        return float(np.nanmedian(before) - np.nanmedian(after)) > FELL_KPA

    @cached_property
    def wakes(self) -> int | None:
        """The step at which engine speed appears, if it was missing for STANDING_S from the first row."""
        known = np.flatnonzero(np.isfinite(self.rpm))
        first = int(known[0]) if len(known) else 0
        return first if first * self.step_s >= STANDING_S and self.present[:first].all() else None

    @cached_property
    def throttle_rest(self) -> float:
        """The throttle's closed position: its least reading while the engine runs, limited; NaN without a throttle."""
        known = self.throttle[self.running & np.isfinite(self.throttle)]
        if not len(known):
            return float("nan")
        return min(float(np.percentile(known, REST_PERCENTILE)), float(judging.REST_MOST_PCT))

    @cached_property
    def throttle_full(self) -> float:
        """The opening from which the throttle is wide open; NaN without a throttle, or if it never is."""
        known = self.throttle[np.isfinite(self.throttle)]
        if not len(known):
            return float("nan")
        rest, top = self.throttle_rest, float(np.percentile(known, TOP_PERCENTILE))
        limit = rest + FULL_SHARE * (top - rest)
        return limit if limit >= FULL_LEAST_PCT else float("nan")

    @cached_property
    def closings(self) -> list[tuple[int, int]]:
        """Settled stretches with the throttle closed and a fast engine slowing down."""
        with np.errstate(invalid="ignore"):
            shut = self.throttle < self.throttle_rest + CLOSED_ABOVE_REST_PCT
            shut &= (self.rpm > TURNING_RPM) & (self.rpm_slope < -FALLING_RPM_S)
        return self.settled(shut, CLOSED_AFTER_S, CLOSED_S)

    @cached_property
    def openings(self) -> list[tuple[int, int]]:
        """Settled stretches with the throttle wide open and the engine speeding up."""
        with np.errstate(invalid="ignore"):
            wide = (self.throttle >= self.throttle_full) & self.running & (self.rpm_slope > RISING_RPM_S)
        return self.settled(wide, FULL_AFTER_S, FULL_S)

    def settled(self, flags: np.ndarray, after_s: float, least_s: float) -> list[tuple[int, int]]:
        """The runs of True without their first `after_s`, if at least `least_s` remains."""
        skip, least = self.steps(after_s), self.steps(least_s)
        return [(a + skip, b) for a, b in local.spans(flags) if b - a - skip >= least]

    @cached_property
    def loaded(self) -> np.ndarray:
        """Where throttle or pressure is high; without both, where engine speed rises."""
        with np.errstate(invalid="ignore"):
            high = (self.throttle >= 60.0) | (self.map_kpa >= 85.0)
            if not (np.isfinite(self.throttle) | np.isfinite(self.map_kpa)).any():
                high = self.rpm_slope > RISING_RPM_S
        return high & self.running

    @cached_property
    def cuts(self) -> list[tuple[int, int]] | None:
        """Fuel cuts by injector time or commanded lambda; None if neither is logged."""
        injector, commanded = (self.columns.extra.get(name) for name in ("injector", "commanded"))
        if injector is not None and np.isfinite(injector).any():
            off = shares(~(injector > 0.1) & np.isfinite(self.columns.rpm), self.rows) > 0.9
        elif commanded is not None and np.isfinite(commanded).any():
            off = self.mean(commanded) > 1.25
        else:
            return None
        return local.spans(off & self.running)


def lambda_range(columns: Columns, name: str) -> tuple[float, float]:
    """(least, most) lambda of a bank's configured range; infinite if it isn't configured."""
    for channel in roles.lambda_channels(columns.config.channels):
        if channel.name == name and channel.lambda_range is not None:
            return channel.lambda_range
    return -np.inf, np.inf
