"""The distributions and tests that intervals need: Student's t, F, Welch, Holm. Tests compare them with scipy."""

from __future__ import annotations

import math
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
    va, vb = float(np.var(a, ddof=1)) / len(a), float(np.var(b, ddof=1)) / len(b)
    error = math.sqrt(va + vb)
    difference = float(np.mean(b) - np.mean(a))
    if error == 0.0:
        return difference, 0.0, float(len(a) + len(b) - 2), 1.0 if difference == 0 else 0.0
    dof = (va + vb) ** 2 / (va**2 / (len(a) - 1) + vb**2 / (len(b) - 1))
    return difference, error, dof, t_two_sided(difference / error, dof)


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
