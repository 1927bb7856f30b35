"""Rows of narrow windows, decoded on request by the decoder's process in stretches of STRETCH rows.

Neighbouring stretches are decoded ahead and the latest are kept, so that a request seldom finds rows undecoded.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable

import numpy as np

from ringpull.session import Session
from ringpull.view.pyramid import runs_of

STRETCH = 4096  # rows decoded together
MOST_KEPT = 128  # stretches that are kept: 27 MB at 12 columns
MOST_WANTED = 32
MOST_TOGETHER = 8  # most stretches in one request
MOST_AHEAD = 2  # most stretches that are decoded ahead in one request
Stretch = tuple[np.ndarray, np.ndarray]  # row numbers (n,), values (columns, n) float32
Want = tuple[int, int, int]  # session, first stretch, how many


def as_stretch(table: dict[str, np.ndarray], names: list[str], period_s: float) -> Stretch:
    """(row numbers, values) of a decoded table."""
    rows = np.round(np.asarray(table["time_s"]) / period_s).astype(np.int64)
    values = np.empty((len(names), len(rows)), np.float32)
    for at, name in enumerate(names):
        values[at] = table[name]
    return rows, values


def decoded(session: Session, names: list[str], first: int, count: int) -> list[Stretch]:
    """Stretches first .. first + count - 1 of a session."""
    period_s = session.period_s
    table = session.between(first * STRETCH * period_s, (first + count) * STRETCH * period_s)
    return cut(*as_stretch(table, names, period_s), first, count)


def cut(rows: np.ndarray, values: np.ndarray, first: int, count: int) -> list[Stretch]:
    """The rows divided into stretches first .. first + count - 1."""
    cuts = np.searchsorted(rows, np.arange(first, first + count + 1) * STRETCH).tolist()
    return [(rows[a:b].copy(), values[:, a:b].copy()) for a, b in zip(cuts, cuts[1:], strict=False)]


class Wanted:
    """Queue of the decoder: one request at a time, the latest first, then the stretches to decode ahead."""

    def __init__(self, send: Callable[[Want], None], missing: Callable[[Want], list[Want]]) -> None:
        """send: passes a request to the decoder and returns at once. missing: the part of a request not yet decoded."""
        self._send, self._missing = send, missing
        self._asked: OrderedDict[Want, None] = OrderedDict()
        self._ahead: list[Want] = []
        self._busy = False
        self._lock = threading.Lock()

    def ask(self, wants: list[Want], ahead: list[Want]) -> None:
        """Replace the queue by these requests, and by those to decode ahead."""
        with self._lock:
            for want in wants:
                self._asked[want] = None
                self._asked.move_to_end(want)
            while len(self._asked) > MOST_WANTED:
                self._asked.popitem(last=False)
            self._ahead = ahead
            if not self._busy:
                self._next()

    def arrived(self) -> None:
        """Note that the decoder is free, and send it the next request."""
        with self._lock:
            self._busy = False
            self._next()

    def _next(self) -> None:
        most = MOST_TOGETHER
        todo: list[Want] = []
        while self._asked and not todo:
            todo = self._missing(next(reversed(self._asked)))
            if not todo:
                self._asked.popitem()
        while self._ahead and not todo:
            todo, most = self._missing(self._ahead[0]), MOST_AHEAD
            if not todo:
                self._ahead.pop(0)
        if todo:
            session, first, count = todo[0]
            self._busy = True
            self._send((session, first, min(count, most)))


class Rows:
    """One session's rows. wanted: queue of the decoder's process; without it rows are decoded here."""

    def __init__(self, session: Session, names: list[str], wanted: Wanted | None = None) -> None:
        self.session, self.names, self.wanted = session, names, wanted
        self._kept: OrderedDict[int, Stretch] = OrderedDict()
        self._lock = threading.Lock()
        self._first = round(session.start_s / session.period_s) // STRETCH
        self._end = -(-round(session.duration_s / session.period_s) // STRETCH)

    def put(self, first: int, stretches: list[Stretch]) -> None:
        """Store decoded stretches, numbered from `first` on."""
        with self._lock:
            for at, one in enumerate(stretches):
                self._kept[first + at] = one
                self._kept.move_to_end(first + at)
            while len(self._kept) > MOST_KEPT:
                self._kept.popitem(last=False)

    def put_all(self, rows: np.ndarray, values: np.ndarray) -> None:
        """Store all rows of a session of fewer than MOST_KEPT stretches."""
        self.put(self._first, cut(rows, values, self._first, self._end - self._first))

    def missing(self, begin: int, end: int) -> list[Want]:
        """Requests for those of stretches begin .. end - 1 that are not decoded."""
        missing = [k for k in range(max(begin, self._first), min(end, self._end)) if k not in self._kept]
        return [(self.session.id, first, count) for first, count in runs_of(np.array(missing, np.int64))]

    def _stretches(self, begin: int, end: int) -> list[Stretch] | None:
        """Stretches begin .. end - 1 that the session has; None if some have to be decoded first."""
        begin, end = max(begin, self._first), min(end, self._end)
        with self._lock:
            wants = self.missing(begin, end)
            beside = max(end - begin, 1)
            ahead = [one for a, b in ((end, end + beside), (begin - beside, begin)) for one in self.missing(a, b)]
            kept = [self._kept[k] for k in range(begin, end)] if not wants else []
            for k in range(begin, end):
                if k in self._kept:
                    self._kept.move_to_end(k)
        if self.wanted is not None:
            self.wanted.ask(wants, ahead)
            return None if wants else kept
        for _, first, count in wants:
            self.put(first, decoded(self.session, self.names, first, count))
        return self._stretches(begin, end) if wants else kept

    def between(self, first: int, end: int) -> Stretch | None:
        """Rows first .. end - 1 that exist; None if some have to be decoded first."""
        parts = self._stretches(max(first, 0) // STRETCH, -(-max(end, 0) // STRETCH))
        if parts is None:
            return None
        if not parts:
            return np.zeros(0, np.int64), np.zeros((len(self.names), 0), np.float32)
        rows = np.concatenate([part[0] for part in parts])
        keep = slice(*np.searchsorted(rows, (first, end)).tolist())
        return rows[keep], np.concatenate([part[1] for part in parts], axis=1)[:, keep]

    def nearest(self, row: int) -> tuple[int, np.ndarray] | None:
        """(number, values) of the row nearest to `row`; None if it has to be decoded first.

        Raises LookupError if there are no rows.
        """
        near = self.session.row_near(row)
        places: list[int] = [max(row, 0) // STRETCH]
        if near is not None and near // STRETCH not in places:
            places.append(near // STRETCH)
        for at in places:
            parts = self._stretches(at, at + 1)
            if parts is None:
                return None
            if parts and len(parts[0][0]):
                rows, values = parts[0]
                best = int(np.argmin(np.abs(rows - row)))
                return int(rows[best]), values[:, best]
        raise LookupError("no rows")
