"""Intervals of cell means when pulls differ as wholes, from variances between and within pulls, pooled over cells.

Cells share their pulls, so pooling over cells adds no information about how pulls differ: the degrees of freedom
between pulls are the number of pulls minus one, however many cells there are.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ringpull.analysis.cells import stats

FEW = 3  # degrees of freedom between pulls
HOMOGENEOUS = 0.01  # chance below which a cell's scatter is called larger than that of the others


@dataclass(frozen=True)
class Pooled:
    """The variance of one pass about its cell's mean.

    `pull` is common to all cells of a pull, `within` is the pass's own, each with its degrees of freedom; `dof` is that
    of the sum (Satterthwaite). level: the part of the sum that is known from the pulls' levels.
    """

    pull: float
    within: float
    pull_dof: float
    within_dof: float
    level: float = 0.0

    @property
    def total(self) -> float:
        return self.pull + self.within

    @property
    def dof(self) -> float:
        return stats.satterthwaite([(self.pull, self.pull_dof), (self.within, self.within_dof)])[1]

    def quantile(self, chance: float) -> float:
        """The value below which a mean divided by the root of its variance stays with this chance.

        If FEW pulls happen to be alike, Satterthwaite overrates them; then the mean of both parts' quantiles, weighted
        by the variances, is used (Cochran 1964, value from memory).
        """
        if not 0 < self.pull_dof < FEW or self.total <= 0:
            return stats.t_quantile(chance, round(min(self.dof, 1e6), 2))
        parts = ((self.level, self.pull_dof), (self.total - self.level, self.within_dof))
        return sum(v * stats.t_quantile(chance, round(dof, 2)) for v, dof in parts) / self.total


def homogeneous(variance: np.ndarray, dof: np.ndarray) -> np.ndarray:
    """Which of several variances may be pooled: bool array. dof: degrees of freedom of each, 0 for none.

    Starting with the smaller half, each next larger variance is added unless it is too large for the pool so far (F
    test at HOMOGENEOUS divided by their number), so that several outliers can't hide each other.
    """
    there = np.flatnonzero(dof > 0)
    use = dof > 0
    if len(there) < 4:
        return use
    order = there[np.argsort(variance[there], kind="stable")]
    limit = HOMOGENEOUS / len(there)
    half = len(order) // 2 + 1
    total, free = float((variance * dof)[order[:half]].sum()), float(dof[order[:half]].sum())
    for place in range(half, len(order)):
        at = order[place]
        if total > 0 and stats.f_above(float(variance[at]) * free / total, float(dof[at]), free) < limit:
            use[order[place:]] = False
            break
        total, free = total + float(variance[at] * dof[at]), free + float(dof[at])
    return use


def pool(cells: np.ndarray, units: np.ndarray, values: np.ndarray) -> Pooled | None:
    """The variances from passes, over the cells whose scatter is alike. None if no cell has two passes.

    cells, units, values: cell number, unit (pull) number and value of each pass, (passes,). A unit with a single pass
    counts as within.
    """
    count = np.bincount(cells)
    mean = np.bincount(cells, values) / np.maximum(count, 1)
    free = float(np.sum(np.maximum(count - 1, 0)[count > 0]))
    if free < 1:
        return None
    dof = np.maximum(count - 1, 0).astype(float)
    squares = np.bincount(cells, (values - mean[cells]) ** 2)
    kept = homogeneous(np.where(dof > 0, squares / np.maximum(dof, 1), 0.0), dof)
    free = float(dof[kept].sum())
    used = kept[cells]
    miss = np.where(used, values - mean[cells], 0.0)
    # a deviation from the mean is smaller because the value is part of that mean
    total = float(np.sum(miss[used] ** 2) / free)
    of_unit = np.bincount(units[used], minlength=int(units.max()) + 1)
    several = np.flatnonzero(of_unit >= 2)
    if len(several) < 2:
        return Pooled(0.0, total, 0.0, free)
    centre = np.bincount(units[used], miss[used], minlength=len(of_unit))[several] / of_unit[several]
    between_dof = float(len(several) - 1)
    rest = miss.copy()
    for unit, level in zip(several, centre, strict=True):
        rest[(units == unit) & used] -= level
    within_dof = max(free - between_dof, 1.0)
    within = min(float(np.sum(rest[used] ** 2) / within_dof), total)
    cells_each = len(several) / float(np.sum(1.0 / of_unit[several]))
    level = total - within * (1.0 - 1.0 / cells_each)
    return Pooled(total - within, within, between_dof, within_dof, level)


def interval(values: np.ndarray, pooled: Pooled | None, level: float = 0.95) -> tuple[float, float, float]:
    """(mean, half-width, standard error) of one cell's passes, by the pooled variance or its own if clearly larger.

    Infinite for fewer than two passes without pooled variance.
    """
    n = len(values)
    mean = float(np.mean(values))
    own = float(np.var(values, ddof=1)) if n > 1 else 0.0
    if n > 1 and (
        pooled is None
        or (n > 2 and pooled.total > 0 and stats.f_above(own / pooled.total, n - 1, pooled.dof) < HOMOGENEOUS)
    ):
        error = float(np.sqrt(own / n))
        return mean, stats.t_quantile(0.5 + level / 2.0, float(n - 1)) * error, error
    if pooled is None:
        return mean, np.inf, np.inf
    error = float(np.sqrt(pooled.total / n))
    return mean, pooled.quantile(0.5 + level / 2.0) * error, error
