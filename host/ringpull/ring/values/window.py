"""Reads the rows of a window of a session without the rest of it."""

from __future__ import annotations

import numpy as np

from ringpull.ring.blocks import scan
from ringpull.ring.blocks.order import Run
from ringpull.ring.rows.sessions import SessionBlocks
from ringpull.ring.values import decoded_columns
from ringpull.ring.values.decoded_columns import Table

MARGIN_S = 2.0  # like decoded_columns.MARGIN_S, for rows that are only viewed: a few cycles of the slowest engine


class Finder:
    """The first row and the number of rows of each row block of a session, 14 bytes per block. Rows must be in order
    (SessionBlocks.ordered)."""

    def __init__(self, blocks: SessionBlocks) -> None:
        self._blocks = blocks
        firsts, counts, places = [np.zeros(0, np.uint32)], [np.zeros(0, np.uint16)], [np.zeros(0, np.int64)]
        for run in blocks.runs:
            slots = blocks.store.indexes[run.file].slots[run.slot : run.slot + run.count]
            there = np.flatnonzero(scan.is_rows(slots["kind"]))
            firsts.append(slots["first"][there])
            counts.append(slots["rows"][there])
            places.append(there + run.start)
        self._firsts, self._counts = np.concatenate(firsts), np.concatenate(counts)
        self._places = np.concatenate(places)

    def nearest(self, row: int) -> int:
        """The first row of the block that holds `row`, else of the nearer neighbouring block; -1 without blocks."""
        if not len(self._firsts):
            return -1
        at = int(np.searchsorted(self._firsts, max(row, 0), side="right"))
        before, after = (int(self._firsts[min(max(k, 0), len(self._firsts) - 1)]) for k in (at - 1, at))
        last = before + int(self._counts[max(at - 1, 0)]) - 1  # of the block before, if that is one
        return after if abs(after - row) < row - last else before

    def runs(self, first: int, end: int) -> list[Run]:
        """The blocks with rows first .. end - 1."""
        if end <= first or not len(self._firsts):
            return []
        low = max(int(np.searchsorted(self._firsts, max(first, 0), side="right")) - 1, 0)
        high = int(np.searchsorted(self._firsts, max(end, 0), side="left"))
        if low >= high:
            return []
        begin, stop = int(self._places[low]), int(self._places[high - 1]) + 1
        parts = [run for run in self._blocks.runs if run.start < stop and run.end > begin]
        return [run.part(max(run.start, begin), min(run.end, stop)) for run in parts]

    def raw_of(self, spans: list[tuple[int, int]]) -> Table:
        """The raw rows of the blocks that hold some spans (first, past the last), which are in order and separate."""
        return self._raw([run for first, end in spans for run in self.runs(first, end)])

    def _raw(self, runs: list[Run]) -> Table:
        """The raw rows of some blocks."""
        parts = list(self._blocks.pieces(runs=runs))
        out: Table = {"row": np.concatenate([np.zeros(0, np.int64), *(row for row, _ in parts)])}
        for c, name in enumerate(self._blocks.setup.names):
            values = [got[c] for _, got in parts]
            out[name] = np.concatenate(values) if values else np.zeros(0, np.uint32)
        return out

    def decoded(self, first: int, end: int) -> Table:
        """decoded_columns.decoded() of rows first .. end - 1, computed with MARGIN_S of rows on both sides."""
        margin = round(MARGIN_S * 1e6 / self._blocks.setup.period_us)
        raw = self._raw(self.runs(first - margin, end + margin))
        return decoded_columns.decoded(self._blocks, raw, slice(*np.searchsorted(raw["row"], (first, end)).tolist()))

    def sample(self, count: int) -> Table:
        """decoded_columns.decoded() of about `count` blocks spread evenly over the session."""
        raw = self._raw(self._blocks.spread(count))
        return decoded_columns.decoded(self._blocks, raw if self._blocks.ordered else decoded_columns.rising(raw))
