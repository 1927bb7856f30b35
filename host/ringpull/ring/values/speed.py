"""Engine speed without lag: the mean over a whole engine cycle, assigned to the middle of that cycle.

Over a whole cycle every cylinder fires and every tooth passes once, so uneven firing and uneven teeth cancel out. The
device's live speed is causal and half a cycle late; here the later edges are known too.
"""

from __future__ import annotations

import math

import numpy as np

from ringpull.ring.values import edges as read_edges
from ringpull.ring.values.edges import EdgeColumns, Stretch

Array = np.ndarray

SLOWEST_US = float(1 << 20)  # the longest wait that the age column can hold
LEARN_CYCLES = 20  # least length of a stretch from which uneven spacing is learned
MOST_LEARNED = 1 << 14  # most edges from which it is learned
MOST_UNEVEN = 64  # with more edges per cycle, spacing is taken as even
STEPS = 4  # most steps in the search for the cycle around a row's instant
MOST_TABLE = 3  # entries for each edge
NEAR = 1e-5  # precision of that search in edges: 0.3 us of an idling engine


def rate_hz(columns: EdgeColumns, cycle_edges: float, fast: bool = False) -> Array:
    """Edges per second at each row's instant, (rows,) float, averaged over `cycle_edges` edges around it.

    NaN where the cycle is not completely known: at starts, stops, losses and gaps. fast: use compiled_speed.py, which
    must be available.
    """
    out = np.full(len(columns.row), np.nan)
    times = np.asarray(columns.row, float) * columns.period_us
    loss = max(2.0, math.floor(cycle_edges))
    for stretch in read_edges.stretches(columns, loss, SLOWEST_US):
        if stretch.number[-1] < cycle_edges:
            continue
        low, high = np.searchsorted(times, (stretch.time_us[0], stretch.time_us[-1]))
        if high > low:
            out[low:high] = _cycle_means(stretch, times[low:high], cycle_edges, fast)
    return out


def _cycle_means(stretch: Stretch, times: Array, cycle: float, fast: bool) -> Array:
    """Edges per second over the cycle whose middle is each of `times` (rising, inside the stretch)."""
    every_edge = stretch.number[-1] - stretch.number[0] == len(stretch.number) - 1
    curve = Curve(stretch.number if every_edge else even_numbers(stretch, cycle), stretch.time_us)
    if cycle < 2:  # each interval is a cycle: its mean belongs to its middle, with straight lines between
        return 1e6 * _over(1.0, curve.slope(curve.where(times)))
    half = cycle / 2
    low, high = curve.x[0] + half, curve.x[-1] - half
    if high <= low:
        return np.full(len(times), np.nan)
    first, last = ((curve(np.array([x - half])) + curve(np.array([x + half])))[0] / 2 for x in (low, high))
    width = _compiled_widths(curve, times, cycle) if fast else _widths(curve, times, cycle)
    return np.where((times >= first) & (times <= last), 1e6 * _over(cycle, width), np.nan)


def _widths(curve: Curve, times: Array, cycle: float) -> Array:
    """The time that the cycle around each of `times` takes, us."""
    half = cycle / 2
    low, high = curve.x[0] + half, curve.x[-1] - half
    x = np.clip(np.interp(times, curve.y, curve.x), low, high)
    far = np.arange(len(x))
    width = np.empty(len(x))
    for _ in range(STEPS):
        here = x[far]
        begin, end = curve(here - half), curve(here + half)
        width[far] = end - begin
        x[far] = np.clip(here + (times[far] - (begin + end) / 2) * cycle / np.maximum(end - begin, 1.0), low, high)
        far = far[np.abs(x[far] - here) > NEAR]
        if not len(far):
            break
    width[far] = curve(x[far] + half) - curve(x[far] - half)
    return width


def _compiled_widths(curve: Curve, times: Array, cycle: float) -> Array:
    from ringpull.ring.values import compiled_speed

    width = np.empty(len(times))
    compiled_speed.widths(curve.x, curve.y, curve.from_start, curve.half_bend, times, float(cycle), STEPS, NEAR, width)
    return width


def _over(above: float, below: Array) -> Array:
    """above / below; NaN where below is not positive."""
    return np.where(below > 0, above / np.where(below > 0, below, 1.0), np.nan)


class Curve:
    """A curve y over x through all points. x, y: (n,) rising, n at least 2.

    Each interval is a parabola whose bend is that of its neighbours if both bend the same way, limited to twice the
    lesser (van Leer 1977), else a straight line. So no step spreads beyond its own interval.
    """

    def __init__(self, x: Array, y: Array) -> None:
        self.x, self.y = x, y
        self.h = np.diff(x)
        self.secant = np.diff(y) / self.h
        bend = np.diff(self.secant) * 2 / (self.h[1:] + self.h[:-1])
        left, right = np.concatenate([[0.0], bend]), np.concatenate([bend, [0.0]])
        if len(bend):
            left[0], right[-1] = right[0], left[-1]
        least = 2 * np.minimum(np.abs(left), np.abs(right))
        middle = (left + right) / 2
        self.bend = np.where(left * right > 0, np.sign(middle) * np.minimum(np.abs(middle), least), 0.0)
        self.half_bend = self.bend / 2
        self.from_start = self.secant - self.half_bend * self.h
        self._even = x[-1] - x[0] == len(x) - 1 and bool((self.h == 1.0).all())
        self._nearby = None if self._even else self._table()

    def _table(self) -> Array | None:
        """The interval of each whole number counted from x[0], from which that of any x is near; None where it would
        be much longer than x."""
        steps = int(self.x[-1] - self.x[0]) + 1
        if steps > MOST_TABLE * len(self.x):
            return None
        return self._search(self.x[0] + np.arange(steps))

    def _search(self, x: Array) -> Array:
        return np.clip(np.searchsorted(self.x, x, side="right") - 1, 0, len(self.h) - 1)

    def _interval(self, x: Array) -> Array:
        last = len(self.h) - 1
        if self._even:
            return np.clip((x - self.x[0]).astype(np.int64), 0, last)
        if self._nearby is None:
            return self._search(x)
        at = self._nearby[np.clip((x - self.x[0]).astype(np.int64), 0, len(self._nearby) - 1)]
        # Edges a whole number apart lie at most one in a step; those of uneven teeth may lie nearer
        on = np.flatnonzero((x >= self.x[at + 1]) & (at < last))
        while len(on):
            at[on] += 1
            on = on[(x[on] >= self.x[at[on] + 1]) & (at[on] < last)]
        return at

    def __call__(self, x: Array) -> Array:
        at = self._interval(x)
        s = x - self.x[at]
        return self.y[at] + s * (self.from_start[at] + self.half_bend[at] * s)

    def slope(self, x: Array) -> Array:
        """dy/dx."""
        at = self._interval(x)
        return self.secant[at] + self.bend[at] * (x - self.x[at] - self.h[at] / 2)

    def where(self, y: Array) -> Array:
        """x for each y."""
        x = np.interp(y, self.y, self.x)
        for _ in range(STEPS):
            at = self._interval(x)
            x = np.clip(x + (y - self(x)) / self.slope(x), self.x[at], self.x[at + (at < len(self.h))])
        return x


def even_numbers(stretch: Stretch, cycle: float) -> Array:
    """The numbers of the stretch's edges, corrected for the deviation of each tooth of the cycle from even spacing.

    If every edge has a known time this has no effect, since a whole cycle is measured from a tooth to the same tooth.
    If rows hold several edges it makes different teeth comparable. The deviations are learned from the stretch itself.
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
    seen = slice(0, MOST_LEARNED)
    for limit in (0.4, 0.1, 0.03, 0.03):  # steps of engine speed are excluded as the offsets become known
        off, error = _offsets(number[seen], stretch.time_us[seen], tooth[seen], off, teeth, limit)
    if np.abs(off).max() < 0.002 or np.abs(off).max() < 5 * error.max():
        return number
    return number + off[tooth]


def _offsets(number: Array, time_us: Array, tooth: Array, off: Array, teeth: int, limit: float) -> tuple[Array, Array]:
    """(offsets, their standard errors) of the teeth as shares of their spacing, refined from `off`, with sum 0.

    Least squares: the periods between two edges, from the speed around them, minus the teeth counted, equal the
    difference of the two teeth's offsets. The speed is the mean over four cycles with the offsets known so far.
    Differences that deviate by more than `limit` are left out.
    """
    curve = Curve(number + off[tooth], time_us)
    middle = (curve.x[1:] + curve.x[:-1]) / 2
    reach = 2.0 * teeth
    far = (middle - reach >= curve.x[0]) & (middle + reach <= curve.x[-1])
    wide = np.where(far, curve(middle + reach) - curve(middle - reach), np.nan)
    with np.errstate(divide="ignore", invalid="ignore"):  # damaged times may stand still
        passed = np.diff(time_us) * 2 * reach / wide - np.diff(number)
    use = np.isfinite(passed)
    use &= np.abs(passed - (off[tooth[1:]] - off[tooth[:-1]])) < limit
    a, b, passed = tooth[:-1][use], tooth[1:][use], passed[use]
    pairs = np.bincount(a * teeth + b, minlength=teeth * teeth).reshape(teeth, teeth)
    pairs = pairs + pairs.T
    normal = np.diag(pairs.sum(axis=1)).astype(float) - pairs
    right = np.bincount(b, passed, teeth) - np.bincount(a, passed, teeth)
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
