"""The distributions and tests that intervals need: Student's t, F, Welch, Holm. Tests compare them with scipy."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache

import numpy as np


def beta_cdf(x: float, a: float, b: float) -> float:
    """Regularised incomplete beta function I_x(a, b), by its continued fraction (modified Lentz; Abramowitz and Stegun
    26.5.8)."""
    if x <= 0.0:
        return 0.0
    if x >= 1.0:
        return 1.0
    if x > (a + 1.0) / (a + b + 2.0):
        return 1.0 - beta_cdf(1.0 - x, b, a)
    front = math.exp(math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b) + a * math.log(x) + b * math.log1p(-x))
    tiny = 1e-300
    c, d = 1.0, 1.0 / max(1.0 - (a + b) * x / (a + 1.0), tiny)
    total = d
    for m in range(1, 500):
        for top in (
            m * (b - m) * x / ((a + 2 * m - 1.0) * (a + 2 * m)),
            -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1.0)),
        ):
            d = 1.0 + top * d
            d = 1.0 / (d if abs(d) > tiny else tiny)
            c = 1.0 + top / (c if abs(c) > tiny else tiny)
            total *= c * d
        if abs(c * d - 1.0) < 1e-15:
            break
    return front * total / a


def t_two_sided(t: float, dof: float) -> float:
    """Chance of a Student t value at least as far from zero as `t`. dof: degrees of freedom, not necessarily whole."""
    if not math.isfinite(t):
        return 0.0
    return beta_cdf(dof / (dof + t * t), dof / 2.0, 0.5)


@lru_cache(maxsize=4096)
def t_quantile(p: float, dof: float) -> float:
    """The value below which Student's t stays with chance p, 0.5 <= p < 1, by bisection on the two-sided chance."""
    if dof <= 0:
        return math.inf
    wanted = 2.0 * (1.0 - p)
    low, high = 0.0, 2.0
    while t_two_sided(high, dof) > wanted:
        low, high = high, 2.0 * high
        if high > 1e9:
            return math.inf
    for _ in range(200):
        middle = 0.5 * (low + high)
        if t_two_sided(middle, dof) > wanted:
            low = middle
        else:
            high = middle
        if high - low < 1e-12 * high:
            break
    return 0.5 * (low + high)


def t_values(p: float, dofs: np.ndarray) -> np.ndarray:
    """t_quantile for an array of degrees of freedom, each rounded to a hundredth."""
    rounded = np.round(np.asarray(dofs, dtype=float), 2)
    unique, where = np.unique(rounded, return_inverse=True)
    return np.array([t_quantile(p, float(d)) for d in unique])[where]


def f_above(f: float, dof1: float, dof2: float) -> float:
    """Chance of an F value above `f`."""
    if f <= 0:
        return 1.0
    return beta_cdf(dof2 / (dof2 + dof1 * f), dof2 / 2.0, dof1 / 2.0)


def welch(a: np.ndarray, b: np.ndarray) -> tuple[float, float, float, float]:
    """(difference of means b - a, its standard error, degrees of freedom, two-sided chance) of two samples.

    Their variances may differ (Welch 1947, degrees of freedom by Satterthwaite 1946); each needs two or more values.
    """
    return welch_of(*((len(one), float(np.mean(one)), float(np.var(one, ddof=1))) for one in (a, b)))


def welch_of(a: tuple[int, float, float], b: tuple[int, float, float]) -> tuple[float, float, float, float]:
    """welch() of two samples of which only (values, mean, variance) are known."""
    (na, mean_a, var_a), (nb, mean_b, var_b) = a, b
    va, vb = var_a / na, var_b / nb
    error = math.sqrt(va + vb)
    difference = mean_b - mean_a
    if error == 0.0:
        return difference, 0.0, float(na + nb - 2), 1.0 if difference == 0 else 0.0
    dof = (va + vb) ** 2 / (va**2 / (na - 1) + vb**2 / (nb - 1))
    return difference, error, dof, t_two_sided(difference / error, dof)


def mean_of(n: int, total: float, squares: float) -> tuple[int, float, float]:
    """(values, mean, variance) from their number, sum and sum of squares; variance NaN under two values."""
    mean = total / n
    return n, mean, max(squares - n * mean * mean, 0.0) / (n - 1) if n > 1 else math.nan


def common_slope(groups: Sequence[tuple[int, float, float, float, float, float]]) -> tuple[float, float, float]:
    """(slope, its standard error, degrees of freedom) of straight lines with one slope through groups of points, each
    group with a level of its own, by least squares. groups: number, sums of x, xx, y, xy, yy of each. NaN where there
    is no spread of x or no point to spare."""
    points = sum(g[0] for g in groups)
    sxx = sum(xx - x * x / n for n, x, xx, _, _, _ in groups)
    sxy = sum(xy - x * y / n for n, x, _, y, xy, _ in groups)
    syy = sum(yy - y * y / n for n, _, _, y, _, yy in groups)
    free = float(points - len(groups) - 1)
    if sxx <= 1e-12 or free < 1:
        return math.nan, math.nan, free
    if syy <= 1e-12 * sum(g[5] for g in groups):  # what is left of equal values is the rounding of their sums
        return 0.0, 0.0, free
    slope = sxy / sxx
    return slope, math.sqrt(max(syy - slope * sxy, 0.0) / free / sxx), free


def satterthwaite(parts: list[tuple[float, float]]) -> tuple[float, float]:
    """(sum of variances, its effective degrees of freedom) of independent parts.

    parts: (variance, degrees of freedom) of each (Satterthwaite 1946; JCGM 100, equation G.2b).
    """
    total = sum(v for v, _ in parts)
    below = sum(v * v / d for v, d in parts if d > 0 and v > 0)
    return total, (total * total / below if below > 0 else math.inf)


def holm(chances: np.ndarray, level: float = 0.05) -> np.ndarray:
    """Which of several tests are significant at a family-wise `level` (Holm 1979): bool array; NaN never is."""
    chances = np.asarray(chances, dtype=float)
    out = np.zeros(len(chances), bool)
    order = [i for i in np.argsort(chances) if np.isfinite(chances[i])]
    for place, at in enumerate(order):
        if chances[at] > level / (len(order) - place):
            break
        out[at] = True
    return out


def mean_interval(values: np.ndarray, level: float = 0.95) -> tuple[float, float]:
    """(mean, half-width of its interval) of independent values by Student's t; infinite for fewer than two values."""
    values = np.asarray(values, dtype=float)
    if len(values) < 2:
        return (float(values[0]) if len(values) else math.nan), math.inf
    error = float(np.std(values, ddof=1)) / math.sqrt(len(values))
    return float(values.mean()), t_quantile(0.5 + level / 2.0, float(len(values) - 1)) * error
