"""Samples of one session in chunks, each with its least and most over 16, 256, 4096... rows."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

CHUNK = 1 << 18  # rows; a power of two, so that buckets never straddle two chunks
FACTOR = 16


@dataclass(frozen=True)
class Chunk:
    """Rows without a hole. first: number of the first one. levels[k]: (values, values) at k = 0, else (least, most) of
    FACTOR**k rows; arrays (columns, n) float32, NaN where invalid."""

    first: int
    levels: list[tuple[np.ndarray, np.ndarray]]

    @property
    def rows(self) -> int:
        return self.levels[0][0].shape[1]


def reduced(values: np.ndarray, size: int, how) -> np.ndarray:
    """Least or most (how: np.fmin or np.fmax) of each `size` values along the second axis; the last may be of fewer."""
    if size == 1:
        return values
    return how.reduceat(values, np.arange(0, values.shape[1], size), axis=1)


def chunk_of(first: int, values: np.ndarray) -> Chunk:
    """A chunk with its levels. values: (columns, rows) float32."""
    levels = [(values, values)]
    while levels[-1][0].shape[1] > FACTOR:
        low, high = levels[-1]
        levels.append((reduced(low, FACTOR, np.fmin), reduced(high, FACTOR, np.fmax)))
    return Chunk(first, levels)


class Pyramid:
    """Grows while a session is being read, by one thread; windows may be asked for at any time by others."""

    def __init__(self, columns: list[str], period_s: float) -> None:
        self.columns = columns
        self.period_s = period_s
        self.done = False
        self._chunks: list[Chunk] = []
        self._lock = threading.Lock()

    @property
    def chunks(self) -> list[Chunk]:
        with self._lock:
            return list(self._chunks)

    @property
    def rows(self) -> int:
        return sum(chunk.rows for chunk in self.chunks)

    def range_s(self) -> tuple[float, float]:
        """From the first to the end of the last row that is there yet."""
        chunks = self.chunks
        if not chunks:
            return 0.0, 0.0
        return chunks[0].first * self.period_s, (chunks[-1].first + chunks[-1].rows) * self.period_s

    def fill(self, tables: Iterator[dict[str, np.ndarray]]) -> None:
        """Take all pieces of a session (Session.tables())."""
        held_rows, held = np.zeros(0, np.int64), np.zeros((len(self.columns), 0), np.float32)
        for table in tables:
            rows = np.round(np.asarray(table["time_s"]) / self.period_s).astype(np.int64)
            values = np.stack([np.asarray(table[name], np.float32) for name in self.columns])
            held_rows, held = np.concatenate([held_rows, rows]), np.concatenate([held, values], axis=1)
            held_rows, held = self._take(held_rows, held, last=False)
        self._take(held_rows, held, last=True)
        self.done = True

    def _take(self, rows: np.ndarray, values: np.ndarray, last: bool) -> tuple[np.ndarray, np.ndarray]:
        """Make chunks of all but the open end; the rest is given back."""
        cuts = np.flatnonzero(np.diff(rows) != 1) + 1
        starts, ends = [0, *cuts.tolist()], [*cuts.tolist(), len(rows)]
        fresh = []
        keep = len(rows)
        for begin, end in zip(starts, ends, strict=True):
            while end - begin >= CHUNK or (begin < end and (last or end < len(rows))):
                stop = min(begin + CHUNK, end)
                fresh.append(chunk_of(int(rows[begin]), np.ascontiguousarray(values[:, begin:stop])))
                begin = stop
            if end == len(rows):
                keep = begin
        with self._lock:
            self._chunks += fresh
        return rows[keep:], values[:, keep:]

    def window(self, start_s: float, end_s: float, width: int) -> tuple[float, list[list[int]], np.ndarray]:
        """(period_s, runs, samples) of a window for `width` pixels: samples themselves where they are few, else the
        least and the most of each bucket, one after the other, as if rows of half a bucket.

        runs: [first, count] in those rows; samples: (columns, n) float32.
        """
        first, end = int(np.floor(start_s / self.period_s)), int(np.ceil(end_s / self.period_s)) + 1
        bucket = 1
        while bucket * 2 * max(width, 1) < end - first:
            bucket *= 2
        runs: list[list[int]] = []
        parts = []
        for chunk in self.chunks:
            low, high = max(first - chunk.first, 0), min(end - chunk.first, chunk.rows)
            if low >= high:
                continue
            made = part_of(chunk, low, high, bucket)
            begin = chunk.first + low if bucket == 1 else round((chunk.first + low // bucket * bucket) * 2 / bucket)
            if runs and abs(sum(runs[-1]) - begin) <= (bucket > 1):
                runs[-1][1] += made.shape[1]
            else:
                runs.append([begin, made.shape[1]])
            parts.append(made)
        samples = np.concatenate(parts, axis=1) if parts else np.zeros((len(self.columns), 0), np.float32)
        return (self.period_s if bucket == 1 else self.period_s * bucket / 2), runs, samples

    def nearest(self, time_s: float) -> tuple[float, np.ndarray] | None:
        """(time, values) of the row nearest to a time; None without rows."""
        row = round(time_s / self.period_s)
        best = None
        for chunk in self.chunks:
            at = min(max(row - chunk.first, 0), chunk.rows - 1)
            away = abs(chunk.first + at - row)
            if best is None or away < best[0]:
                best = away, (chunk.first + at) * self.period_s, chunk.levels[0][0][:, at]
        return None if best is None else best[1:]


def part_of(chunk: Chunk, low: int, high: int, bucket: int) -> np.ndarray:
    """Rows low..high-1 of a chunk, or with bucket > 1 least and most in turn of the buckets that hold them."""
    if bucket == 1:
        return chunk.levels[0][0][:, low:high]
    level, size = 0, 1
    while level + 1 < len(chunk.levels) and size * FACTOR <= bucket:
        level, size = level + 1, size * FACTOR
    begin, stop = low // bucket * bucket // size, -(-(-(-high // bucket) * bucket) // size)
    least, most = (values[:, begin:stop] for values in chunk.levels[level])
    least, most = reduced(least, bucket // size, np.fmin), reduced(most, bucket // size, np.fmax)
    return np.stack([least, most], axis=2).reshape(least.shape[0], -1)
