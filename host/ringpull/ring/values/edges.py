"""The edges of a pulse channel from its rows: counts and times, missing edges, stops and losses.

A row holds the count of edges and the age of the last one, so of several edges within one row only the last has a known
time.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

Array = np.ndarray

PASSES = 4  # passes of the search: edges found in one pass help to judge their neighbours in the next
LEAST_SPAN, MOST_SPAN = 5, 9  # intervals examined on each side
STRAIGHT_US = 60e3  # engine speed is near a straight line for so long, except at corners
NEARNESS = 1.0 - 0.05 * np.arange(MOST_SPAN)  # weight of an interval by its distance
BREAK = 0.3  # in edges: a smaller bend of engine speed between intervals is real
# score of a line for an interval that misses 0, 1, 2, more or fewer than 0 edges by it
WORTH = np.array([1.0, 0.5, 0.2, 0.0, -1.0])
TOGETHER = 256  # intervals processed together, as many as fit the processor's cache
FEW = 3  # in an interval of up to so many edges a missing one is conspicuous by itself
TOLERANCE = 0.4  # in edges: largest deviation of an interval from a whole number of missing edges


@dataclass
class Stretch:
    """Edges without a stop or a loss between them.

    number: (n,) count from the first, including missing edges. time_us: (n,) times from the session's row 0. Both rise
    strictly.
    """

    number: Array
    time_us: Array


@dataclass(frozen=True)
class EdgeColumns:
    """The columns of a pulse channel. row, count, age: (rows,) integers as stored, row rising. count_bits, age_bits:
    widths of the columns."""

    row: Array
    count: Array
    age: Array
    period_us: float
    count_bits: int
    age_bits: int

    def part(self, first: int, end: int) -> EdgeColumns:
        """Rows first .. end - 1."""
        return replace(self, row=self.row[first:end], count=self.count[first:end], age=self.age[first:end])


def stretches(columns: EdgeColumns, loss: float, slowest_us: float) -> list[Stretch]:
    """The stretches of a channel.

    loss: more missing edges than this in one place are not filled in, since the signal was lost there. slowest_us: a
    longer wait for the next edge is a stop.
    """
    out = []
    for first, end in _without_gaps(columns.row):
        out += _of_part(columns.part(first, end), loss, slowest_us)
    return out


def _without_gaps(row: Array) -> list[tuple[int, int]]:
    """(first, end) of the parts without missing rows."""
    if not len(row):
        return []
    cuts = np.flatnonzero(np.diff(row) != 1) + 1
    ends = [0, *cuts.tolist(), len(row)]
    return list(zip(ends[:-1], ends[1:]))


def _of_part(columns: EdgeColumns, loss: float, slowest_us: float) -> list[Stretch]:
    row, age = columns.row, columns.age
    never = (1 << columns.age_bits) - 1
    count = columns.count.astype(np.int64)
    steps = np.diff(count, prepend=count[:1]) & ((1 << columns.count_bits) - 1)
    known = steps != 0
    known[0] = count[0] != 0
    known &= age < never
    at = np.flatnonzero(known)
    if len(at) < 3:
        return []
    total = np.cumsum(steps)
    number, time_us = total[at], row[at].astype(float) * columns.period_us - age[at]
    later = np.concatenate([[True], np.diff(time_us) > 0])
    number, time_us = number[later], time_us[later]
    out = []
    waits = np.diff(time_us)
    cuts = np.flatnonzero(waits > slowest_us) + 1
    for part_number, part_time in zip(np.split(number, cuts), np.split(time_us, cuts)):
        if len(part_number) >= 3:
            out += _filled(part_number, part_time, loss)
    return out


def _filled(number: Array, time_us: Array, loss: float) -> list[Stretch]:
    """Renumber the edges with the missing ones counted; cut where more than `loss` are missing."""
    wait = np.diff(time_us)
    edges = np.diff(number).astype(float)
    missing = missing_edges(edges, wait, loss)
    cuts = np.flatnonzero(missing > loss) + 1
    told = np.concatenate([[0.0], np.cumsum(edges + np.minimum(missing, loss))])
    parts = zip(np.split(told, cuts), np.split(time_us, cuts))
    return [Stretch(part - part[0], time) for part, time in parts if len(part) >= 2]


def missing_edges(edges: Array, wait: Array, loss: float) -> Array:
    """The number of missing edges in each interval, (n,) whole floats; infinite if it can't be determined.

    edges: counted, (n,). wait: us, (n,). Engine speed is near a straight line over a few intervals, except at corners
    and steps. Edges are missing if the intervals before and those after both predict the same whole number more than
    were counted; at a corner one of the two sides predicts none.
    """
    missing = np.zeros(len(edges))
    for _ in range(PASSES):
        told = edges + missing
        with np.errstate(divide="ignore", invalid="ignore"):  # damaged times may stand still
            rate = told / wait
            from_left, from_right = (_asked(rate, told, wait, side) for side in (-1, 1))
            from_left, from_right = _one_sided(from_left, from_right), _one_sided(from_right, from_left)
            least, most = np.minimum(from_left, from_right), np.maximum(from_left, from_right)
            more = np.where(least >= 1 - TOLERANCE, np.rint((least + most) / 2), 0.0)
            unclear = (more > 0) & (most - least > 2 * TOLERANCE + 0.2 * more)
            more[unclear & (least <= loss)] = np.where(told <= FEW, np.inf, 0.0)[unclear & (least <= loss)]
            more[least > loss] = np.inf
        more[~np.isfinite(missing)] = 0.0
        # of neighbours that seem to miss edges the worst is corrected first, since it may cause the others
        share = more / told
        left, right = np.concatenate([[0.0], share[:-1]]), np.concatenate([share[1:], [0.0]])
        more[(share < left) | (share < right)] = 0.0
        if not more.any():
            break
        missing += more
    return missing


def _one_sided(here: Array, there: Array) -> Array:
    """At the ends, where one side is missing, use the other if it predicts a whole number to a few per cent, as at
    steady speed. Otherwise the number is unknown, and a number that is too large forces a cut."""
    with np.errstate(invalid="ignore"):
        clear = np.abs(there - np.rint(there)) < 0.25 * TOLERANCE
    return np.where(np.isfinite(here), here, np.where(clear | (there < 1 - TOLERANCE), there, np.inf))


def _asked(rate: Array, told: Array, wait: Array, side: int) -> Array:
    """Edges beyond `told` that the intervals on one side (-1 before, 1 after) predict; NaN without intervals.

    rate: edges per us. With few edges per interval the median of three rates is enough. With many, a single edge
    matters less than the change of speed from row to row, so a line is put through the rates.
    """
    span = int(np.clip(STRAIGHT_US / np.median(wait), LEAST_SPAN, MOST_SPAN)) if len(wait) else LEAST_SPAN
    views = _views(np.where(np.isfinite(rate), rate, np.nan), side, span)
    with np.errstate(invalid="ignore"):
        expected = _median_of_three(*views[:3])
        many = told > FEW
        expected[many] = rate[many]
        if many.any():
            many &= _near_breaks(rate, wait, span)
        if many.any():
            waits = _views(wait, side, span)
            expected[many] = _best_line([view[many] for view in views], [view[many] for view in waits])
        return wait * expected - told


def _near_breaks(rate: Array, wait: Array, span: int) -> Array:
    """Where engine speed within `span` intervals bends by as much as a missing edge would cause, or is unknown; (n,)
    bool."""
    bend = np.full(len(rate), np.inf)
    bend[1:-1] = np.abs(rate[2:] - 2 * rate[1:-1] + rate[:-2]) * wait[1:-1]
    breaks = np.concatenate([np.zeros(span + 1, np.int64), np.cumsum(~(bend < BREAK))])
    breaks = np.concatenate([breaks, np.full(span, breaks[-1])])
    return breaks[2 * span + 1 :] > breaks[: len(rate)]


def _views(values: Array, side: int, span: int) -> list[Array]:
    """The values 1, 2... `span` intervals away on one side, NaN beyond the ends."""
    n = len(values)
    padded = np.concatenate([np.full(span, np.nan), values, np.full(span, np.nan)])
    return [padded[span + side * by : span + side * by + n] for by in range(1, span + 1)]


def _best_line(rates: list[Array], waits: list[Array]) -> Array:
    """The value at 0 of the best line through two of the rates (rates[0] at 1, rates[1] at 2...); NaN for fewer than
    two.

    By the best line the other intervals miss whole numbers of edges as well, preferably zero and never a negative
    number. Medians fail with many edges per interval, since one edge in a hundred missing spoils half of the intervals;
    but the missing numbers are whole, and the true line is the one above the rates.
    """
    out = np.empty(len(rates[0]))
    for first in range(0, len(out), TOGETHER):
        now = slice(first, first + TOGETHER)
        out[now] = _best_lines(np.stack([one[now] for one in rates]), np.stack([one[now] for one in waits]))
    return out


def _best_lines(rates: Array, waits: Array) -> Array:
    """As _best_line(), all pairs of rates at once. rates, waits: (span, n)."""
    span = len(rates)
    place = np.arange(1.0, span + 1.0)
    a, b = np.triu_indices(span, 1)
    slope = (rates[b] - rates[a]) / (b - a)[:, None]
    offset = rates[a] - slope * place[a][:, None]
    short = (offset[:, None] + slope[:, None] * place[:, None] - rates) * waits  # (pairs, span, n)
    unknown = np.isnan(short)
    short[unknown] = 0.0
    whole = np.rint(short)
    worth = WORTH[np.clip(whole, -1, len(WORTH) - 2).astype(np.int8)]  # -1: the last
    worth -= np.abs(short - whole)
    worth[unknown] = 0.0
    score = np.where(np.isfinite(offset), np.tensordot(NEARNESS[:span], worth, (0, 1)), -np.inf)
    best = score.argmax(axis=0)
    at = np.arange(len(best))
    return np.where(np.isfinite(score[best, at]), offset[best, at], np.nan)


def _median_of_three(a: Array, b: Array, c: Array) -> Array:
    """Row by row the median of those that are there; NaN where none is."""
    middle = np.maximum(np.minimum(a, b), np.minimum(np.maximum(a, b), c))
    lacking = np.flatnonzero(np.isnan(middle))
    if len(lacking):
        middle[lacking] = _median([a[lacking], b[lacking], c[lacking]])
    return middle


def _median(columns: list[Array]) -> Array:
    """The median of the valid columns in each row; NaN if none is valid."""
    table = np.sort(np.stack(columns), axis=0)  # NaN last
    there = np.isfinite(table).sum(axis=0)
    low, high = np.maximum(there - 1, 0) // 2, there // 2
    at = np.arange(table.shape[1])
    return np.where(there > 0, (table[low, at] + table[np.minimum(high, len(columns) - 1), at]) / 2, np.nan)
