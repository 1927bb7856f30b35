"""Least and most values of every BASE, 16 BASE, 256 BASE... rows of a session, drawn when a window has many rows.

Rows themselves are not held: `rows.Rows` decodes the rows of a narrow window on request.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass

import numpy as np

LEAST_BASE = 16  # rows
FACTOR = 16
MOST_BUCKETS = 1 << 21  # buckets of the finest level: at most 17 MB a column


def base_of(span_rows: int) -> int:
    """Rows per bucket of the finest level, a power of two. span_rows: length of the session in rows, with gaps."""
    base = LEAST_BASE
    while span_rows > base * MOST_BUCKETS:
        base *= 2
    return base


def grouped(
    numbers: np.ndarray, low: np.ndarray, high: np.ndarray, size: int
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Groups of `size` rows or buckets: (numbers of the groups that hold rows (n,), least, most (columns, n)).

    numbers: (m,) rising. low, high: (columns, m) float32, NaN where there is no value; equal if the input is rows.
    """
    if len(numbers) and numbers[-1] - numbers[0] == len(numbers) - 1 and not size & (size - 1):
        first, last = int(numbers[0]), int(numbers[-1])
        before, after = first % size, size - 1 - last % size
        least, most = _halved(low, before, after, size, np.fmin), _halved(high, before, after, size, np.fmax)
        return np.arange(first // size, last // size + 1), least, most
    at = numbers // size
    starts = np.flatnonzero(np.diff(at, prepend=-1))
    if not len(starts):
        return starts, low[:, :0], high[:, :0]
    return at[starts], np.fmin.reduceat(low, starts, axis=1), np.fmax.reduceat(high, starts, axis=1)


def _halved(values: np.ndarray, before: int, after: int, size: int, take: np.ufunc) -> np.ndarray:
    """Groups of `size` columns reduced pair by pair, in a quarter of the time of reduceat.

    before, after: columns missing at either end. size: a power of two.
    """
    if before or after:
        values = np.pad(values, ((0, 0), (before, after)), constant_values=np.nan)
    while size > 1:
        values = take(values[:, 0::2], values[:, 1::2])
        size //= 2
    return values


def runs_of(numbers: np.ndarray) -> list[list[int]]:
    """[first, count] of each run of consecutive numbers."""
    if not len(numbers):
        return []
    cuts = np.flatnonzero(np.diff(numbers) != 1) + 1
    starts, ends = [0, *cuts.tolist()], [*cuts.tolist(), len(numbers)]
    return [[int(numbers[a]), b - a] for a, b in zip(starts, ends, strict=True)]


@dataclass
class Level:
    """Buckets of `size` rows from number `first` on. low, high: (columns, n) float32, NaN where there is no data."""

    size: int
    first: int
    low: np.ndarray
    high: np.ndarray

    def part(self, begin: int, end: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """(numbers, least, most) of the buckets begin .. end - 1 that exist."""
        begin, end = max(begin, self.first), min(end, self.first + self.low.shape[1])
        which = slice(begin - self.first, max(end, begin) - self.first)
        return np.arange(begin, max(end, begin)), self.low[:, which], self.high[:, which]


class Pyramid:
    """All levels of one session. One thread fills it, in any order; others may request windows at any time."""

    def __init__(self, columns: int, first: int, end: int) -> None:
        """first, end: the session's rows are first .. end - 1."""
        self.levels: list[Level] = []
        size = self.base = base_of(end - first)
        while not self.levels or self.levels[-1].low.shape[1] > FACTOR:
            shape = columns, (max(end, first + 1) - 1) // size - first // size + 1
            self.levels.append(Level(size, first // size, *(np.full(shape, np.nan, np.float32) for _ in range(2))))
            size *= FACTOR
        self._lock = threading.Lock()

    @property
    def bytes(self) -> int:
        """Memory of all levels."""
        return sum(level.low.nbytes + level.high.nbytes for level in self.levels)

    def put(self, numbers: np.ndarray, low: np.ndarray, high: np.ndarray) -> None:
        """Store buckets of the finest level, replacing earlier ones. numbers: rising."""
        if not len(numbers):
            return
        with self._lock:
            at = numbers - self.levels[0].first
            self.levels[0].low[:, at], self.levels[0].high[:, at] = low, high
            begin, end = int(numbers[0]), int(numbers[-1]) + 1
            for below, level in zip(self.levels, self.levels[1:], strict=False):
                begin, end = begin // FACTOR, -(-end // FACTOR)
                there, least, most = grouped(*below.part(begin * FACTOR, end * FACTOR), FACTOR)
                at = there - level.first
                level.low[:, at], level.high[:, at] = least, most

    def window(self, first: int, end: int, bucket: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """(numbers, least, most) of the buckets of `bucket` rows that hold any of rows first .. end - 1.

        bucket: a power of two, at least `base`.
        """
        level = max((one for one in self.levels if one.size <= bucket), key=lambda one: one.size)
        each = bucket // level.size
        begin, stop = first // bucket * each, -(-end // bucket) * each
        return grouped(*level.part(begin, stop), each)
