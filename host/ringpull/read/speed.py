"""Engine speed without lag: the mean over a whole engine cycle, given to the middle of that cycle.

Over a whole cycle every cylinder fires and every tooth passes once, so uneven firing and uneven teeth cancel. The
device's live speed is causal and half a cycle late; here the edges that follow are known too.
"""

from __future__ import annotations

import math

import numpy as np

from ringpull.read import edges as read_edges
from ringpull.read.edges import Stretch

Array = np.ndarray

SLOWEST_US = float(1 << 20)  # the age column holds no longer wait
LEARN_CYCLES = 20  # a stretch shorter than this teaches nothing about uneven spacing
MOST_UNEVEN = 64  # edges a cycle, above which spacing is taken as even
STEPS = 4  # of the search for the cycle around a row's instant


def rate_hz(
    row: Array, count: Array, age: Array, period_us: float, count_bits: int, age_bits: int, cycle_edges: float
) -> Array:
    """Edges per second at each row's instant, (rows,) float, averaged over `cycle_edges` edges around it.

    row, count, age: (rows,) as stored. NaN where the cycle is not known whole: at starts, stops, losses and gaps.
    """
    out = np.full(len(row), np.nan)
    times = np.asarray(row, float) * period_us
    loss = max(2.0, math.floor(cycle_edges))
    for stretch in read_edges.stretches(row, count, age, period_us, count_bits, age_bits, loss, SLOWEST_US):
        if stretch.number[-1] < cycle_edges:
            continue
        low, high = np.searchsorted(times, (stretch.time_us[0], stretch.time_us[-1]))
        if high > low:
            out[low:high] = _cycle_means(stretch, times[low:high], cycle_edges)
    return out


def _cycle_means(stretch: Stretch, times: Array, cycle: float) -> Array:
    """Edges per second over the cycle whose middle is each of `times` (rising, inside the stretch)."""
    curve = _Curve(even_numbers(stretch, cycle), stretch.time_us)
    half = cycle / 2
    low, high = curve.x[0] + half, curve.x[-1] - half
    if high <= low:
        return np.full(len(times), np.nan)
    first, last = ((curve(np.array([x - half])) + curve(np.array([x + half])))[0] / 2 for x in (low, high))
    inside = (times >= first) & (times <= last)
    x = np.clip(np.interp(times, curve.y, curve.x), low, high)
    for _ in range(STEPS):
        begin, end = curve(x - half), curve(x + half)
        x = np.clip(x + (times - (begin + end) / 2) * cycle / np.maximum(end - begin, 1.0), low, high)
    width = curve(x + half) - curve(x - half)
    return np.where(inside & (width > 0), 1e6 * cycle / np.where(width > 0, width, 1.0), np.nan)


class _Curve:
    """y over x through all points, smooth: a cubic in each interval, its slope at a point that of the parabola through
    the point and its two neighbours. x, y: (n,) rising, n at least 2."""

    def __init__(self, x: Array, y: Array) -> None:
        self.x, self.y = x, y
        self.h = np.diff(x)
        secant = np.diff(y) / self.h
        if len(x) == 2:
            self.slope = np.repeat(secant, 2)
        else:
            h = self.h
            inner = (secant[:-1] * h[1:] + secant[1:] * h[:-1]) / (h[:-1] + h[1:])
            first, last = 2 * secant[0] - inner[0], 2 * secant[-1] - inner[-1]
            self.slope = np.concatenate([[first], inner, [last]])
        self.secant = secant

    def __call__(self, x: Array) -> Array:
        at = np.clip(np.searchsorted(self.x, x, side="right") - 1, 0, len(self.h) - 1)
        h, secant = self.h[at], self.secant[at]
        s = x - self.x[at]
        d0, d1 = self.slope[at], self.slope[at + 1]
        c = (3 * secant - 2 * d0 - d1) / h
        d = (d0 + d1 - 2 * secant) / (h * h)
        return self.y[at] + s * (d0 + s * (c + s * d))


def even_numbers(stretch: Stretch, cycle: float) -> Array:
    """Numbers of the stretch's edges, moved by how far each tooth of the cycle stands off even spacing.

    Where every edge has a known time this changes nothing, since a whole cycle is measured from a tooth to the same
    tooth. Where rows hold several edges it makes the edges between comparable. Learned from the stretch itself.
    """
    number = stretch.number
    teeth = round(cycle)
    if abs(cycle - teeth) > 1e-9 or not 2 <= teeth <= MOST_UNEVEN or number[-1] < LEARN_CYCLES * teeth:
        return number
    if len(number) < 6 * teeth:
        return number
    tooth = np.rint(number).astype(np.int64) % teeth
    if np.diff(number).max() > 3 * teeth or np.median(np.diff(number)) > teeth:
        return number
    off = np.zeros(teeth)
    error = np.zeros(teeth)
    for _ in range(3):
        off, error = _offsets(number, stretch.time_us, tooth, off, teeth)
    if np.abs(off).max() < 0.002 or np.abs(off).max() < 5 * error.max():
        return number
    return number + off[tooth]


def _offsets(number: Array, time_us: Array, tooth: Array, off: Array, teeth: int) -> tuple[Array, Array]:
    """(offsets, their standard errors) of the teeth in parts of their spacing, better than `off`, sum 0.

    Least squares on: periods passed between two edges as told by the speed around them, less the teeth counted, is
    the difference of the two teeth's offsets. The speed is taken over four cycles with the offsets known so far.
    """
    curve = _Curve(number + off[tooth], time_us)
    middle = (curve.x[1:] + curve.x[:-1]) / 2
    reach = 2.0 * teeth
    far = (middle - reach >= curve.x[0]) & (middle + reach <= curve.x[-1])
    wide = np.where(far, curve(middle + reach) - curve(middle - reach), np.nan)
    passed = np.diff(time_us) * 2 * reach / wide - np.diff(number)
    use = np.isfinite(passed) & (np.abs(passed) < 0.4)
    if use.any():  # beside a jump of the speed an interval tells nothing about teeth
        stray = np.abs(passed - (off[tooth[1:]] - off[tooth[:-1]]))
        use &= stray < 0.002 + 9 * np.median(stray[use])
    a, b, passed = tooth[:-1][use], tooth[1:][use], passed[use]
    normal = np.zeros((teeth, teeth))
    right = np.zeros(teeth)
    for one, other, sign in ((a, b, -1.0), (b, a, 1.0)):
        np.add.at(normal, (one, one), 1.0)
        np.add.at(normal, (one, other), -1.0)
        right += sign * np.bincount(one, passed, teeth)
    normal += 1.0 / teeth  # the sum is 0
    try:
        inverse = np.linalg.inv(normal)
    except np.linalg.LinAlgError:
        return off, np.full(teeth, np.inf)
    found = inverse @ right
    found -= found.mean()
    rest = passed - (found[b] - found[a])
    scatter = float(np.sqrt(np.mean(rest**2))) if len(rest) else np.inf
    return found, scatter * np.sqrt(np.maximum(np.diag(inverse), 0.0))
