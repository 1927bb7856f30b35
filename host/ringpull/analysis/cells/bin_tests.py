"""The tests behind a comparison: did a bin change, and did it change against the rest of its pulls?

Values are (bins, pulls), NaN where a pull has no value. The pull is the sampling unit. Pulls differ as wholes by more
than they scatter within, so the second test can see small changes of part of the curve that the first can't.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ringpull.analysis.cells import pooling, stats
from ringpull.analysis.cells.passes import Pass

INTERVAL = 0.95
LEAST_PULLS = 2
LEAST_BINS = 4  # with fewer bins there is no rest of the curve to compare with
LEAST_STEP = 0.01  # a smaller difference of lambda over target, or of power as a share, is not reported
ALIKE = 0.006  # bins whose differences are no further apart changed alike; the limit is wider if they scatter more
NEARLY = 0.75  # a group of bins that changed alike counts if it has this share of the largest group's bins


@dataclass(frozen=True)
class Tested:
    """The results of one test for every bin, (bins,) each, NaN where it can't be done.

    difference: after minus before. half: half-width of its 95 % interval. chance: two-sided. error, free: standard
    error and its degrees of freedom.
    """

    difference: np.ndarray
    half: np.ndarray
    chance: np.ndarray
    error: np.ndarray
    free: np.ndarray


def side(found: Sequence[Pass], keys: list[tuple[int, int]]) -> np.ndarray:
    """The values of one side, (bins, pulls)."""
    units: dict[object, int] = {}
    for one in found:
        if one.unit is not None:
            units.setdefault(one.unit, len(units))
    total = np.zeros((len(keys), len(units)))
    weight = np.zeros_like(total)
    where = {key: at for at, key in enumerate(keys)}
    for one in found:
        if one.unit is not None and (one.load, one.speed) in where:
            at = where[one.load, one.speed], units[one.unit]
            total[at] += one.value * one.seconds
            weight[at] += one.seconds
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(weight > 0, total / weight, np.nan)


def means(value: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(mean of each bin, number of pulls in it)."""
    count = np.sum(np.isfinite(value), axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(count > 0, np.nansum(value, axis=1) / np.maximum(count, 1), np.nan), count


def pooled(sides: Sequence[np.ndarray], pull_like: bool) -> tuple[float, float, np.ndarray]:
    """(variance of one pull's value in one bin, degrees of freedom, bins pooled).

    Pooled over both sides and those bins whose scatter is alike. pull_like: the values of a pull are correlated, so the
    degrees of freedom are counted in pulls, not in bins.
    """
    squares, dofs, pulls = [], [], 0
    for value in sides:
        mean, count = means(value)
        squares.append(np.nansum((value - mean[:, None]) ** 2, axis=1))
        dofs.append(np.maximum(count - 1, 0).astype(float))
        pulls += max(value.shape[1] - 1, 0)
    square, dof = np.concatenate(squares), np.concatenate(dofs)
    kept = pooling.homogeneous(square / np.maximum(dof, 1.0), dof)
    free = float(dof[kept].sum())
    alike = (kept | (dof == 0)).reshape(len(sides), -1).all(axis=0)
    if free < 1:
        return np.nan, 0.0, alike
    return float(square[kept].sum() / free), float(pulls) if pull_like else free, alike


def moved(before: np.ndarray, after: np.ndarray, enough: np.ndarray, pull_like: bool, method_u: float) -> Tested:
    """Test whether each bin changed.

    Variance is pooled over bins and sides; a bin that scatters more than the others is tested by itself (Welch).
    method_u: standard uncertainty of the method in one bin of one side, which more pulls do not reduce.
    """
    (m0, n0), (m1, n1) = means(before), means(after)
    variance, dof, alike = pooled((before, after), pull_like)
    difference = np.where(enough, m1 - m0, np.nan)
    half, chance, errors, dofs = (np.full(len(m0), np.nan) for _ in range(4))
    for at in np.flatnonzero(np.isfinite(difference)):
        if alike[at] and dof > 0:
            error, free = float(np.sqrt(variance * (1.0 / n0[at] + 1.0 / n1[at]))), dof
        else:
            rows = [value[at][np.isfinite(value[at])] for value in (before, after)]
            if min(map(len, rows)) < 2:
                continue
            _, error, free, _ = stats.welch(*rows)
        error = float(np.hypot(error, np.sqrt(2.0) * method_u))
        errors[at], dofs[at] = error, free
        half[at] = error * stats.t_quantile(0.5 + INTERVAL / 2.0, round(free, 2))
        chance[at] = stats.t_two_sided(float(difference[at]) / error, free) if error > 0 else 1.0
    return Tested(difference, half, chance, errors, dofs)


def unmoved(difference: np.ndarray, error: float) -> np.ndarray:
    """The bins that changed alike and so show the pulls' own level: bool, (bins,).

    Of the largest groups of bins with agreeing differences it is the group that changed least. error: standard error of
    a difference from the scatter within pulls.
    """
    reach = max(ALIKE, 2.0 * error)
    near = np.abs(difference[:, None] - difference[None, :]) <= reach
    count = near.sum(axis=1)
    centre = np.array([difference[one].mean() for one in near])
    large = np.flatnonzero(count >= NEARLY * count.max())
    return near[large[np.argmin(np.abs(centre[large]))]]


def relative(before: np.ndarray, after: np.ndarray, enough: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Both sides' values minus each pull's own level; NaN if all pulls share fewer than LEAST_BINS bins.

    A pull's level is its median distance from the bins' means over both sides, in the shared bins that did not change.
    """
    shared = enough & np.isfinite(before).all(axis=1) & np.isfinite(after).all(axis=1)
    if np.count_nonzero(shared) < LEAST_BINS:
        return np.full_like(before, np.nan), np.full_like(after, np.nan)
    m0, m1 = before[shared].mean(axis=1), after[shared].mean(axis=1)
    still = np.flatnonzero(shared)[unmoved(m1 - m0, within(before[shared], after[shared]))]
    usual = 0.5 * (before[still].mean(axis=1) + after[still].mean(axis=1))
    levels = [np.median(value[still] - usual[:, None], axis=0) for value in (before, after)]
    return before - levels[0][None, :], after - levels[1][None, :]


def within(before: np.ndarray, after: np.ndarray) -> float:
    """Standard error of the difference of two bins' means, from the scatter within pulls."""
    total, free = 0.0, 0.0
    for value in (before, after):
        miss = value - value.mean(axis=1)[:, None]
        total += float(np.sum((miss - np.median(miss, axis=0)[None, :]) ** 2))
        free += (value.shape[0] - 1) * (value.shape[1] - 1)
    return float(np.sqrt(total / max(free, 1.0) * (1.0 / before.shape[1] + 1.0 / after.shape[1])))
