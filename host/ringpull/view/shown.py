"""One session as the page requests it: windows of any width, single rows, and rows as CSV."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from ringpull.session import Session
from ringpull.view.pyramid import Pyramid, grouped, runs_of
from ringpull.view.rows import Rows, Stretch, Wanted, as_stretch

SMALL = 1 << 16  # a session of at most so many rows is read at once
GLANCE = 600  # blocks of a longer session that are sampled before it is read
MOST_FINE = 1 << 15  # a window of more rows is drawn from buckets instead
EXPORT = 1 << 16  # rows in a piece of CSV


class Window(NamedTuple):
    """A window's samples.

    period_s: time between its rows. runs: [first, count] in those rows. samples: (columns, n) float32. fine: whether
    the samples are as fine as requested; if not, the rows are being decoded and the page should ask again.
    """

    period_s: float
    runs: list[list[int]]
    samples: np.ndarray
    fine: bool


class Shown:
    """Windows are complete as far as the session has been read (`read` of session.rows).

    Before that, wide windows show a few blocks of it. Narrow windows are decoded on request; until that is done they
    show the finest buckets.
    """

    def __init__(self, session: Session, names: list[str], wanted: Wanted | None = None) -> None:
        self.session, self.names = session, names
        self.period_s = session.period_s
        self.first, self.end = (round(time_s / self.period_s) for time_s in (session.start_s, session.duration_s))
        self.pyramid = Pyramid(len(names), self.first, self.end)
        self.rows = Rows(session, names, wanted)
        self.read = 0
        self.added: Stretch | None = None
        self._added_pyramid: Pyramid | None = None

    def add(self, rows: np.ndarray, values: np.ndarray) -> None:
        """Add columns beside those of the channels. values: (columns, rows) float32; rows: rising row numbers."""
        made = Pyramid(len(values), self.first, self.end)
        made.put(*grouped(rows, values, values, made.base))
        self._added_pyramid, self.added = made, (rows, values)

    def _with_added(self, rows: np.ndarray, values: np.ndarray) -> np.ndarray:
        """The values with those of the added columns below them, NaN where a row has none."""
        if self.added is None:
            return values
        numbers, more = self.added
        at = np.minimum(np.searchsorted(numbers, rows), len(numbers) - 1)
        return np.concatenate([values, np.where(numbers[at] == rows, more[:, at], np.float32(np.nan))])

    @property
    def done(self) -> bool:
        return self.read >= self.session.rows

    def glance(self) -> None:
        """Read all of a small session, or a few blocks of a large one."""
        small = self.session.rows <= SMALL
        table = self.session.table() if small else self.session.sample(GLANCE)
        rows, values = as_stretch(table, self.names, self.period_s)
        self.pyramid.put(*grouped(rows, values, values, self.pyramid.base))
        if small:
            self.read = self.session.rows
            self.rows.put_all(rows, values)

    def window(self, start_s: float, end_s: float, width: int) -> Window:
        """The samples of a window of `width` pixels: its rows if they are few, else the least and most of each bucket.

        Least and most follow each other, as if they were rows half a bucket apart.
        """
        first, end = int(np.floor(start_s / self.period_s)), int(np.ceil(end_s / self.period_s)) + 1
        first, end = (min(max(row, self.first), self.end) for row in (first, end))
        bucket = 1
        while bucket * 2 * max(width, 1) < end - first:
            bucket *= 2
        fine = True
        if bucket == 1 or (bucket < self.pyramid.base and end - first <= MOST_FINE):
            found = self.rows.between(first // bucket * bucket, -(-end // bucket) * bucket)
            fine = found is not None
            if found is not None:
                rows, values = found[0], self._with_added(*found)
                if bucket == 1:
                    return Window(self.period_s, runs_of(rows), values, True)
                return self._buckets(bucket, *grouped(rows, values, values, bucket), True)
        bucket = max(bucket, self.pyramid.base)
        numbers, low, high = self.pyramid.window(first, end, bucket)
        if self._added_pyramid is not None:
            _, *more = self._added_pyramid.window(first, end, bucket)
            low, high = (np.concatenate(pair) for pair in zip((low, high), more, strict=True))
        return self._buckets(bucket, numbers, low, high, fine)

    def _buckets(self, bucket: int, numbers: np.ndarray, low: np.ndarray, high: np.ndarray, fine: bool) -> Window:
        runs = [[2 * begin, 2 * count] for begin, count in runs_of(numbers)]
        return Window(self.period_s * bucket / 2, runs, np.stack([low, high], axis=2).reshape(len(low), -1), fine)

    def csv(self, spans: list[tuple[float, float]], only: tuple[str, float, float] | None = None) -> Iterator[bytes]:
        """The rows of some spans as pieces of CSV. only: (column, low, high): rows outside these values are omitted."""
        from ringpull.export import arrow, csv_numbers

        kinds = arrow.kinds_of(["time_s", *self.names])
        yield csv_numbers.head(kinds)
        for start_s, end_s in spans:
            first = max(int(np.ceil(start_s / self.period_s - 1e-6)), self.first)
            end = min(int(end_s / self.period_s + 1e-6) + 1, self.end)
            for begin in range(first, end, EXPORT):
                table = self.session.between(begin * self.period_s, min(begin + EXPORT, end) * self.period_s)
                if only is not None:
                    column, low, high = only
                    keep = (table[column] >= low) & (table[column] <= high)
                    table = {name: values[keep] for name, values in table.items()}
                yield csv_numbers.body(arrow.as_arrow(table, kinds))

    def nearest(self, time_s: float) -> tuple[float, np.ndarray] | None:
        """(time, values) of the row nearest to a time; None if it has to be decoded first.

        Raises LookupError if there are no rows.
        """
        found = self.rows.nearest(min(max(round(time_s / self.period_s), self.first), self.end - 1))
        if found is None:
            return None
        return found[0] * self.period_s, self._with_added(np.array([found[0]]), found[1][:, None])[:, 0]
