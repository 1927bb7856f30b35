"""Repeatability: how well pulls repeat, whether they drift as the car heats up, and how certain one pull is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ringpull.analysis.cells import pooling, stats
from ringpull.analysis.cells.passes import Pass, by_bank

LEAST_PULLS = 3


@dataclass(frozen=True)
class Repeat:
    """The repeatability of pulls; figures are NaN if there are too few pulls.

    pulls: number of pulls. between: standard deviation between whole pulls; within: that of one pull in one cell about
    the pull's level. one_pull: half-width of the 95 % interval of a single pull's value in one cell, as an estimate of
    the mean of many. drift: change from one pull to the next, with its interval. levels: each pull's level about the
    mean, in order. worst_bank: of several banks the one that all this is of.
    """

    pulls: int
    between: float
    within: float
    one_pull: float
    drift: float
    drift_low: float
    drift_high: float
    levels: list[float]
    worst_bank: str = ""


def repeat(found: Sequence[Pass]) -> Repeat:
    """Repeatability from the passes of pulls, in the passes' values; passes without a pull are ignored.

    Of several banks it is that of the bank that repeats worst.
    """
    banks = {name: _repeat(some) for name, some in by_bank([p for p in found if p.unit is not None]).items()}
    if len(banks) < 2:
        return next(iter(banks.values()), _repeat([]))
    name, worst = max(banks.items(), key=lambda one: np.nan_to_num(one[1].one_pull, nan=-1.0))
    return replace(worst, worst_bank=name)


def _repeat(inside: Sequence[Pass]) -> Repeat:
    nan = float("nan")
    order = sorted({p.unit for p in inside if p.unit is not None})
    if len(order) < 2:
        return Repeat(len(order), nan, nan, nan, nan, nan, nan, [0.0] * len(order))
    keys = sorted({(p.load, p.speed) for p in inside})
    number = {key: at for at, key in enumerate(keys)}
    cell = np.array([number[p.load, p.speed] for p in inside])
    unit = np.array([order.index(p.unit) for p in inside if p.unit is not None])
    value = np.array([p.value for p in inside])
    pooled = pooling.pool(cell, unit, value)
    mean = np.bincount(cell, value) / np.bincount(cell)
    # the median, since an event in one pull is not its level
    levels = [float(np.median((value - mean[cell])[unit == at])) for at in range(len(order))]
    if pooled is None:
        return Repeat(len(order), nan, nan, nan, nan, nan, nan, levels)
    one = pooled.quantile(0.975) * float(np.sqrt(pooled.total))
    between, within = float(np.sqrt(pooled.pull)), float(np.sqrt(pooled.within))
    drift = low = high = nan
    if len(levels) >= LEAST_PULLS:
        drift, low, high = trend(np.array(levels))
    return Repeat(len(order), between, within, one, drift, low, high, levels)


def trend(values: np.ndarray) -> tuple[float, float, float]:
    """(slope per step, low, high) of a line through three or more evenly spaced values, 95 % by Student's t."""
    at = np.arange(len(values)) - (len(values) - 1) / 2.0
    spread = float(at @ at)
    slope = float(at @ values) / spread
    miss = values - values.mean() - slope * at
    free = len(values) - 2
    error = float(np.sqrt(miss @ miss / free / spread))
    half = stats.t_quantile(0.975, float(free)) * error
    return slope, slope - half, slope + half
