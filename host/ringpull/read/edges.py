"""Edges of a pulse channel as rows tell them: counts and times, edges that are missing, stops and losses.

A row tells how many edges there were and when the last one was. Of several edges within one row only the last has a
known time.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

Array = np.ndarray

PASSES = 3  # of the search for missing edges: what one pass mends clears the view of its neighbours
SPAN = 5  # intervals looked at on each side
FEW = 8  # edges in an interval, up to which one that is missing stands out by itself


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
    missing = missing_edges(edges, wait)
    cuts = np.flatnonzero(missing > loss) + 1
    told = np.concatenate([[0.0], np.cumsum(edges + missing)])
    parts = zip(np.split(told, cuts), np.split(time_us, cuts))
    return [Stretch(part - part[0], time) for part, time in parts if len(part) >= 2]


def missing_edges(edges: Array, wait: Array) -> Array:
    """How many edges are missing in each interval, (n,) float of whole numbers. edges: counted; wait: us.

    Engine speed is near a straight line over a few intervals. An interval that is too long by a whole number of
    periods, seen from the left and from the right and from the middle, misses that many edges. At a corner of the
    speed one of the three views is right and no edge seems to be missing.
    """
    missing = np.zeros(len(edges))
    for _ in range(PASSES):
        rate = (edges + missing) / wait
        expected = _expected(rate, edges + missing)
        more = np.floor(wait * expected - (edges + missing) + 0.5)
        more = np.where(np.isfinite(more), np.maximum(more, 0.0), 0.0)
        # of neighbours that seem to miss edges only the worst is mended at a time: it may be what spoils the others
        worst = more / (edges + missing)
        left = np.concatenate([[0.0], worst[:-1]])
        right = np.concatenate([worst[1:], [0.0]])
        more[(worst < left) | (worst < right)] = 0.0
        if not more.any():
            break
        missing += more
    return missing


def _expected(rate: Array, edges: Array) -> Array:
    """Edges per us expected in each interval from those around it, the least of the views; NaN where there is none."""
    n = len(rate)
    padded = np.concatenate([np.full(SPAN, np.nan), rate, np.full(SPAN, np.nan)])

    def shifted(by: int) -> Array:
        return padded[SPAN + by : SPAN + by + n]

    with np.errstate(invalid="ignore"):
        middle = _median([(shifted(-by) + shifted(by)) / 2 for by in range(1, 4)])
        alone = _median([shifted(by) for by in range(-3, 4) if by])
        out = np.where(np.isfinite(middle), np.minimum(middle, np.where(edges <= FEW, alone, np.inf)), alone)
        many = edges > FEW
        if many.any():
            for side in (-1, 1):
                view = _line([shifted(side * by)[many] for by in range(1, SPAN + 1)])
                out[many] = np.fmin(out[many], view)
    return out


def _median(columns: list[Array]) -> Array:
    """Row by row the median of those that are there; NaN where none is."""
    table = np.sort(np.stack(columns), axis=0)  # NaN last
    there = np.isfinite(table).sum(axis=0)
    low, high = np.maximum(there - 1, 0) // 2, there // 2
    at = np.arange(table.shape[1])
    return np.where(there > 0, (table[low, at] + table[np.minimum(high, len(columns) - 1), at]) / 2, np.nan)


def _line(columns: list[Array]) -> Array:
    """Value at 0 of the line through columns[0] at 1, columns[1] at 2...: median of slopes and of offsets (Theil 1950,
    Sen 1968), which one outlier in five does not move far."""
    slopes = [(columns[b] - columns[a]) / (b - a) for a in range(len(columns)) for b in range(a + 1, len(columns))]
    slope = _median(slopes)
    return _median([column - slope * (by + 1) for by, column in enumerate(columns)])
