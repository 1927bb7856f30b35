"""Edges of a pulse channel as rows tell them: counts and times, edges that are missing, stops and losses.

A row tells how many edges there were and when the last one was. Of several edges within one row only the last has a
known time.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

Array = np.ndarray

PASSES = 4  # of the search for missing edges: what one pass mends clears the view of its neighbours
SPAN = 5  # intervals looked at on each side
FEW = 3  # edges in an interval, up to which one that is missing stands out by itself
TOLERANCE = 0.4  # of an edge: how near to a whole number of missing edges an interval must come


@dataclass
class Stretch:
    """Edges without a stop or a loss between them. number: (n,) count from the first, missing ones included;
    time_us: (n,) of each, from the session's row 0; both strictly rising."""

    number: Array
    time_us: Array


def stretches(
    row: Array, count: Array, age: Array, period_us: float, count_bits: int, age_bits: int, loss: float, slowest_us: float
) -> list[Stretch]:
    """The stretches of a channel.

    row, count, age: (rows,) integers as stored, row rising. loss: more missing edges than this in one place are not
    filled in: there the signal was lost. slowest_us: a longer wait for the next edge is a stop.
    """
    out = []
    for first, last in _without_gaps(row):
        out += _of_part(row[first:last], count[first:last], age[first:last], period_us, count_bits, age_bits, loss, slowest_us)
    return out


def _without_gaps(row: Array) -> list[tuple[int, int]]:
    """(first, end) of the parts in which no row is missing."""
    if not len(row):
        return []
    cuts = np.flatnonzero(np.diff(row) != 1) + 1
    ends = [0, *cuts.tolist(), len(row)]
    return list(zip(ends[:-1], ends[1:]))


def _of_part(row, count, age, period_us, count_bits, age_bits, loss, slowest_us) -> list[Stretch]:
    never = (1 << age_bits) - 1
    count = count.astype(np.int64)
    steps = np.diff(count, prepend=count[:1]) & ((1 << count_bits) - 1)
    known = steps != 0
    known[0] = count[0] != 0
    known &= age < never
    at = np.flatnonzero(known)
    if len(at) < 3:
        return []
    total = np.cumsum(steps)
    number, time_us = total[at], row[at].astype(float) * period_us - age[at]
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
    """Number the edges anew with the missing ones counted; cut where more than `loss` are missing."""
    wait = np.diff(time_us)
    edges = np.diff(number).astype(float)
    missing = missing_edges(edges, wait, loss)
    cuts = np.flatnonzero(missing > loss) + 1
    told = np.concatenate([[0.0], np.cumsum(edges + np.minimum(missing, loss))])
    parts = zip(np.split(told, cuts), np.split(time_us, cuts))
    return [Stretch(part - part[0], time) for part, time in parts if len(part) >= 2]


def missing_edges(edges: Array, wait: Array, loss: float) -> Array:
    """How many edges are missing in each interval, (n,) float of whole numbers; infinite where that can't be told.

    edges: counted, (n,). wait: us, (n,). Engine speed is near a straight line over a few intervals, but for corners
    and steps. Edges are missing where the intervals before and those after both ask for the same whole number more
    than were counted; at a corner, one of the two sides asks for none.
    """
    missing = np.zeros(len(edges))
    for _ in range(PASSES):
        told = edges + missing
        rate = told / wait
        from_left, from_right = (_asked(rate, told, wait, side) for side in (-1, 1))
        from_left, from_right = _one_sided(from_left, from_right), _one_sided(from_right, from_left)
        least, most = np.minimum(from_left, from_right), np.maximum(from_left, from_right)
        with np.errstate(invalid="ignore"):
            more = np.where(least >= 1 - TOLERANCE, np.rint((least + most) / 2), 0.0)
            unclear = (more > 0) & (most - least > 2 * TOLERANCE + 0.2 * more)
            more[unclear & (least <= loss)] = np.where(told <= FEW, np.inf, 0.0)[unclear & (least <= loss)]
            more[least > loss] = np.inf
        more[~np.isfinite(missing)] = 0.0
        # of neighbours that seem to miss edges the worst is mended first: it may be what spoils the others
        share = more / told
        left, right = np.concatenate([[0.0], share[:-1]]), np.concatenate([share[1:], [0.0]])
        more[(share < left) | (share < right)] = 0.0
        if not more.any():
            break
        missing += more
    return missing


def _one_sided(here: Array, there: Array) -> Array:
    """At the ends, where one side is not there, the other may speak for both if what it asks for is a whole number to
    a few per cent, as it is at steady speed; else nobody can tell, and the cut is made by asking too much."""
    with np.errstate(invalid="ignore"):
        clear = np.abs(there - np.rint(there)) < 0.25 * TOLERANCE
    return np.where(np.isfinite(here), here, np.where(clear | (there < 1 - TOLERANCE), there, np.inf))


def _asked(rate: Array, told: Array, wait: Array, side: int) -> Array:
    """Edges more than `told` that the intervals on one side (-1 before, 1 after) ask for; NaN where there are none.

    rate: edges per us. Where few edges fall in an interval the median of three rates will do; where many do, a single
    one counts little and the speed changes by more than that from row to row, so a line is put through the rates.
    """
    n = len(rate)
    rate = np.where(np.isfinite(rate), rate, np.nan)
    padded = np.concatenate([np.full(SPAN, np.nan), rate, np.full(SPAN, np.nan)])
    views = [padded[SPAN + side * by : SPAN + side * by + n] for by in range(1, SPAN + 1)]
    with np.errstate(invalid="ignore"):
        expected = _median(views[:3])
        many = told > FEW
        if many.any():
            near = [view[many] for view in views]
            expected[many] = _best_line(near)
        return wait * expected - told


def _best_line(columns: list[Array]) -> Array:
    """Value at 0 of the line through columns[0] at 1, columns[1] at 2...: through all of them, whatever one outlier
    says, or through the first three where these lie on a line of their own (a step or a corner follows)."""
    all_offset, all_slope = _line(columns)
    near_offset, near_slope = _line(columns[:3])
    all_rest = _median([np.abs(columns[at] - all_offset - all_slope * (at + 1)) for at in range(3)])
    near_rest = np.max([np.abs(columns[at] - near_offset - near_slope * (at + 1)) for at in range(3)], axis=0)
    return np.where((near_rest < all_rest) | ~np.isfinite(all_offset), near_offset, all_offset)


def _line(columns: list[Array]) -> tuple[Array, Array]:
    """(value at 0, slope) by medians of slopes and of offsets (Theil 1950, Sen 1968)."""
    slopes = [(columns[b] - columns[a]) / (b - a) for a in range(len(columns)) for b in range(a + 1, len(columns))]
    slope = _median(slopes)
    return _median([column - slope * (at + 1) for at, column in enumerate(columns)]), slope


def _median(columns: list[Array]) -> Array:
    """Row by row the median of those that are there; NaN where none is."""
    table = np.sort(np.stack(columns), axis=0)  # NaN last
    there = np.isfinite(table).sum(axis=0)
    low, high = np.maximum(there - 1, 0) // 2, there // 2
    at = np.arange(table.shape[1])
    return np.where(there > 0, (table[low, at] + table[np.minimum(high, len(columns) - 1), at]) / 2, np.nan)
