"""Marked pulls, lateness, rejected edges and health, from a session's service columns."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np

from ringpull.ring.blocks import scan
from ringpull.ring.blocks.order import Run
from ringpull.ring.rows.glance import glance
from ringpull.ring.rows.sessions import Hole, Piece, SessionBlocks, batches, single_runs
from shared_math import layout

LONG = 8192  # of a session with more blocks not every block is unpacked
GLANCE = 8192  # blocks examined together, 4 MiB
SERVICE = ("mark", "flag", "late", "rejected", "stall", "heap", "dips")
COUNTERS = ("rejected", "dips")
SAMPLE = 2000  # blocks whose lateness represents all


@dataclass(frozen=True)
class MarkSpan:
    """A marked pull. end_s: None if it is still open at the end of the rows. spoiled: kept, but not judged.

    void: the press turned out to mean something else, so it is not a pull. start_s of one that began in a gap: the
    gap's beginning.
    """

    id: int
    start_s: float
    end_s: float | None
    spoiled: bool
    void: bool


@dataclass
class Survey:
    """marks: in order of time. lost_marks: number of pulls that were marked in gaps alone. late_us_max, late_us_p99:
    None if not recorded. late_blocks: number of blocks, spread over a long session, that late_us_p99 is from; None:
    from every row. rejected: channel -> edges.

    stall_ms_max (0: none of note), heap_kb_least, dips (of the supply): None if not recorded.
    """

    marks: list[MarkSpan]
    late_us_max: int | None
    late_us_p99: int | None
    late_blocks: int | None
    rejected: dict[str, int]
    stall_ms_max: int | None = None
    heap_kb_least: int | None = None
    dips: int | None = None
    lost_marks: int = 0


@dataclass
class _Marks:
    """Follows the mark and flag columns over the rows."""

    period_s: float
    starts: dict[int, float] = field(default_factory=dict)
    ends: dict[int, float] = field(default_factory=dict)
    flags: dict[int, set[int]] = field(default_factory=dict)
    last: int = 0
    first: int | None = None

    def rows(self, row: np.ndarray, mark: np.ndarray) -> None:
        if self.first is None and len(mark):
            self.first = int(mark[0])
        changed = np.flatnonzero(np.diff(mark.astype(np.int64), prepend=self.last))
        for at in changed.tolist():
            now, time_s = int(mark[at]), int(row[at]) * self.period_s
            before, self.last = self.last, now
            if layout.mark_open(before) and now != before:  # the open pull ended here at the latest
                self.ends.setdefault(layout.mark_pull(before), time_s)
            if layout.mark_open(now):
                self.starts.setdefault(layout.mark_pull(now), time_s)

    def flagged(self, flag: np.ndarray) -> None:
        for value in np.unique(flag).tolist():
            if layout.flag_pull(value):
                self.flags.setdefault(layout.flag_pull(value), set()).add(layout.flag_kind(value))

    def lost(self, holes: Sequence[Hole]) -> int:
        """The number of marked pulls of which no row is there, if rows are missing between others."""
        if self.first is None or all(hole.copies for hole in holes):
            return 0
        every = range(layout.mark_pull(self.first) + 1, layout.mark_pull(self.last) + 1)
        return sum(n not in self.starts and layout.FLAG_VOID not in self.flags.get(n, ()) for n in every)

    def spans(self, holes: Sequence[Hole]) -> list[MarkSpan]:
        begun = {hole.end: hole.first * self.period_s for hole in holes if not hole.copies}
        return [
            MarkSpan(
                id=number,
                start_s=begun.get(round(start_s / self.period_s), start_s),
                end_s=self.ends.get(number),
                spoiled=layout.FLAG_SPOILED in self.flags.get(number, ()),
                void=layout.FLAG_VOID in self.flags.get(number, ()),
            )
            for number, start_s in sorted(self.starts.items())
        ]


def of_blocks(blocks: SessionBlocks) -> Survey:
    """The survey of a session's blocks. Only the needed columns are unpacked.

    Of a long session only blocks in which a mark or a flag may change are unpacked, and for the lateness SAMPLE blocks
    spread over it.
    """
    if sum(run.count for run in blocks.runs) > LONG and blocks.ordered and blocks.all_packed():
        return _of_long(blocks)
    return of_columns(blocks, _named(blocks, blocks.pieces(_columns(blocks, *SERVICE))))


def _columns(blocks: SessionBlocks, *roles: str) -> list[int]:
    return [c for c, column in enumerate(blocks.setup.columns) if column.role in roles]


def _named(blocks: SessionBlocks, pieces: Iterable[Piece]) -> Iterator[dict[str, np.ndarray]]:
    names = blocks.setup.names
    return ({"row": row} | {names[c]: values for c, values in got.items()} for row, got in pieces)


@dataclass
class _Look:
    """The findings in a batch of blocks. change: blocks in which a steady column may change. first: the first block.

    begins, ends: references of steady columns in the first and last block. counted: column -> (reference of the first,
    of the last, counts between them).
    """

    change: list[Run]
    first: Run
    begins: list[int]
    ends: list[int]
    counted: dict[int, tuple[int, int, int]]


def _of_long(blocks: SessionBlocks) -> Survey:
    steady, counted = _columns(blocks, "mark", "flag"), _columns(blocks, *COUNTERS)
    columns = blocks.setup.columns
    totals, last = dict.fromkeys(counted, 0), dict.fromkeys(counted, 0)
    change: list[Run] = []
    ends: list[int] | None = None
    buffer = bytearray(GLANCE * layout.SLOT)
    # in one thread, since with such short calls two threads would mostly wait for each other
    for runs in batches(blocks.runs, GLANCE):
        seen = _look(blocks, runs, steady, counted, buffer)
        if seen is None:
            continue
        if seen.begins != ends and (not seen.change or seen.change[0] != seen.first):
            change.append(seen.first)
        change += seen.change
        ends = seen.ends
        for c, (begin, end, inside) in seen.counted.items():
            totals[c] += (begin - last[c]) % columns[c].top + inside
            last[c] = end
    for _, got in blocks.pieces(counted, runs=blocks.spread(2)[-1:]):
        for c in counted:
            totals[c] += (int(got[c][-1]) - last[c]) % columns[c].top
    marked = of_columns(blocks, _named(blocks, blocks.pieces(steady, runs=change)))
    sample = blocks.spread(SAMPLE)
    late = of_columns(blocks, _named(blocks, blocks.pieces(_columns(blocks, "late"), runs=sample)))
    most, told = late.late_us_max, blocks.health.get("late_us")
    if most is not None and isinstance(told, int):
        most = max(most, told)
    names = blocks.setup.names
    roles = [column.role for column in columns]
    return Survey(
        marks=marked.marks,
        lost_marks=marked.lost_marks,
        late_us_max=most,
        late_us_p99=late.late_us_p99,
        late_blocks=len(sample),
        rejected={names[c].removesuffix(".rejected"): totals[c] for c in counted if roles[c] == "rejected"},
        stall_ms_max=_of_health(blocks, "stall_us", "stall", 1000),
        heap_kb_least=_of_health(blocks, "heap", "heap", 1024),
        dips=next((totals[c] for c in counted if roles[c] == "dips"), None),
    )


def _of_health(blocks: SessionBlocks, key: str, role: str, unit: int) -> int | None:
    """A figure of the last health block in the unit of the column with this role; None if either is missing."""
    told = blocks.health.get(key)
    return told // unit if isinstance(told, int) and _columns(blocks, role) else None


def _look(
    blocks: SessionBlocks, runs: list[Run], steady: list[int], counted: list[int], buffer: bytearray
) -> _Look | None:
    data = blocks.store.fetch(runs, buffer)
    rows = np.flatnonzero(scan.is_rows(data[:, layout.AT_KIND]))
    if not len(rows):
        return None
    seen = glance(data, blocks.setup.bits, [*steady, *counted]).of(rows)
    change = np.zeros(len(rows), bool)
    for c in steady:
        change |= ~seen.constant[c]
        change[1:] |= seen.first[c][1:] != seen.first[c][:-1]
    change[1:] |= change[:-1].copy()  # and the next block, which begins with the changed value
    told = {}
    for c in counted:
        first = seen.first[c]
        steps = np.diff(first) % blocks.setup.columns[c].top
        told[c] = (int(first[0]), int(first[-1]), int(steps.sum()))
    return _Look(
        change=single_runs(runs, rows[change]),
        first=single_runs(runs, rows[:1])[0],
        begins=[int(seen.first[c][0]) for c in steady],
        ends=[int(seen.first[c][-1]) if seen.constant[c][-1] else -1 for c in steady],
        counted=told,
    )


def of_columns(blocks: SessionBlocks, tables: Iterable[dict[str, np.ndarray]]) -> Survey:
    """The survey from raw tables in order (`row` and columns). Facts from missing columns stay empty."""
    columns = blocks.setup.columns
    marks = _Marks(blocks.setup.period_us / 1e6)
    lateness = np.zeros(1 << layout.LATE_BITS, np.int64)
    rejected = {c.name: 0 for c in columns if c.role == "rejected"}
    last = dict.fromkeys((c.name for c in columns if c.role in COUNTERS), 0)
    dips = stall = heap = None
    for table in tables:
        for column in columns:
            name, role = column.name, column.role
            if name not in table:
                continue
            if role == "mark":
                marks.rows(table["row"], table[name])
            elif role == "flag":
                marks.flagged(table[name])
            elif role == "late" and column.bits <= layout.LATE_BITS:
                lateness += np.bincount(table[name], minlength=len(lateness))
            elif role in COUNTERS and len(table[name]):
                steps = np.diff(table[name].astype(np.int64), prepend=last[name]) % column.top
                last[name] = int(table[name][-1])
                if role == "dips":
                    dips = (dips or 0) + int(steps.sum())
                else:
                    rejected[name] += int(steps.sum())
            elif role == "stall" and len(table[name]):
                stall = max(stall or 0, int(table[name].max()))
            elif role == "heap" and len(table[name]):
                heap = min(int(table[name].min()), heap if heap is not None else column.top)
    rows = int(lateness.sum())
    there = np.flatnonzero(lateness)
    return Survey(
        marks=marks.spans(blocks.holes),
        lost_marks=marks.lost(blocks.holes),
        late_us_max=int(there[-1]) if rows else None,
        late_us_p99=int(np.searchsorted(np.cumsum(lateness), 0.99 * rows)) if rows else None,
        late_blocks=None,
        rejected={name.removesuffix(".rejected"): count for name, count in rejected.items()},
        stall_ms_max=stall,
        heap_kb_least=heap,
        dips=dips,
    )
