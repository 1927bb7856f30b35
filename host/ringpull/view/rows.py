"""Rows of close windows, decoded from the ring file when they are asked for; the stretches asked for last are kept."""

from __future__ import annotations

import threading
from collections import OrderedDict

import numpy as np

from ringpull.drive import Session
from ringpull.view.pyramid import runs_of

STRETCH = 4096  # rows decoded together
MOST_KEPT = 64  # stretches: 15 MB at 12 columns
Stretch = tuple[np.ndarray, np.ndarray]  # row numbers (n,), values (columns, n) float32


def as_stretch(table: dict[str, np.ndarray], names: list[str], period_s: float) -> Stretch:
    """(row numbers, values) of a decoded table."""
    rows = np.round(np.asarray(table["time_s"]) / period_s).astype(np.int64)
    return rows, np.stack([np.asarray(table[name], np.float32) for name in names])


class Rows:
    """One session's rows."""

    def __init__(self, session: Session, names: list[str]) -> None:
        self.session, self.names = session, names
        self._kept: OrderedDict[int, Stretch] = OrderedDict()
        self._lock = threading.Lock()

    def _stretches(self, begin: int, end: int) -> list[Stretch]:
        """Stretches begin .. end - 1; those that are missing side by side are decoded together."""
        with self._lock:
            missing = np.array([k for k in range(begin, end) if k not in self._kept], np.int64)
            for first, count in runs_of(missing):
                period_s = self.session.period_s
                table = self.session.between(first * STRETCH * period_s, (first + count) * STRETCH * period_s)
                rows, values = as_stretch(table, self.names, period_s)
                cuts = np.searchsorted(rows, np.arange(first, first + count + 1) * STRETCH).tolist()
                for k, (low, high) in enumerate(zip(cuts, cuts[1:], strict=False)):
                    self._kept[first + k] = rows[low:high].copy(), values[:, low:high].copy()
            out = []
            for k in range(begin, end):
                self._kept.move_to_end(k)
                out.append(self._kept[k])
            while len(self._kept) > MOST_KEPT:
                self._kept.popitem(last=False)
            return out

    def between(self, first: int, end: int) -> Stretch:
        """Rows first .. end - 1 as far as they are there."""
        parts = self._stretches(max(first, 0) // STRETCH, -(-max(end, 0) // STRETCH))
        rows = np.concatenate([np.zeros(0, np.int64), *(part[0] for part in parts)])
        values = np.concatenate([np.zeros((len(self.names), 0), np.float32), *(part[1] for part in parts)], axis=1)
        keep = slice(*np.searchsorted(rows, (first, end)).tolist())
        return rows[keep], values[:, keep]

    def nearest(self, row: int) -> tuple[int, np.ndarray] | None:
        """(number, values) of the row nearest to `row`; None without rows."""
        at = max(row, 0) // STRETCH
        rows, values = self._stretches(at, at + 1)[0]
        if not len(rows) and (other := self.session.row_near(row)) is not None:
            rows, values = self._stretches(other // STRETCH, other // STRETCH + 1)[0]
        if not len(rows):
            return None
        at = int(np.argmin(np.abs(rows - row)))
        return int(rows[at]), values[:, at]
