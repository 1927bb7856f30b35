"""From blocks to sessions: the blocks of each session, its setup, its gaps, and its rows in pieces."""

from __future__ import annotations

import threading
from collections.abc import Collection, Iterator
from dataclasses import dataclass, field

import numpy as np

from ringpull.ring.blocks import scan
from ringpull.ring.blocks.cores import two_at_a_time
from ringpull.ring.blocks.order import Run
from ringpull.ring.blocks.store import Store
from ringpull.ring.rows import setup as read_setup
from ringpull.ring.rows import unpack
from ringpull.ring.rows.beside import fits, setup_beside
from ringpull.ring.rows.groups import setup_of
from ringpull.ring.rows.setup import Setup
from shared_math import layout

PIECE = 2048  # blocks unpacked together
FAST_PIECE = 4096  # blocks unpacked together by compiled code; with fewer, two threads wait for each other
MOST_ROWS = 1 << 20  # most rows of a piece, and in memory at once beside earlier pieces
MOST = 65535  # session numbers wrap after this
BLOCK_S = 10.0  # most time in a block (a logger closes it after one second),
BLOCK_ROWS = 1024  # or most rows, if they are very far apart
WINDOW = 1 << 18  # blocks whose headers are examined together
LOST_OR_MORE = 0xFFFF
FEW = 16  # blocks unpacked to see whether a session has any rows
TRIED = 64  # row blocks tried, to see whether a setup from elsewhere fits them
Piece = tuple[np.ndarray, dict[int, np.ndarray]]


@dataclass(frozen=True)
class Hole:
    """A gap: missing rows first .. end - 1. told: rows that the logger counted as lost there. blocks: missing blocks.

    copies: the file holds only copies of pulls, and the gap lies between two of them.
    """

    first: int
    end: int
    told: int
    blocks: int
    copies: bool

    @property
    def reason(self) -> str:
        if self.blocks:
            what = "a block is" if self.blocks == 1 else f"{self.blocks} blocks are"
            return f"{what} damaged or missing" + (", and the logger lost rows" if self.told else "")
        if self.copies:
            return "between the copies of two pulls"
        return "the logger could not take or keep these rows"

    @property
    def lost(self) -> int:
        """Rows of the gap that the logger lost, without those of missing blocks."""
        return min(self.end - self.first, self.told) if self.blocks or self.copies else self.end - self.first


@dataclass
class SessionBlocks:
    """One session's blocks.

    runs: in order, including blocks of other kinds. first, end: row numbers, end past the last. ordered: whether row
    numbers rise from block to block, as they should.
    """

    id: int
    store: Store
    setup: Setup
    runs: list[Run]
    first: int
    end: int
    rows: int
    holes: list[Hole]
    ordered: bool
    health: dict = field(default_factory=dict)
    codes: bytes = b""

    def pieces(
        self, wanted: Collection[int] | None = None, most: int | None = None, runs: list[Run] | None = None
    ) -> Iterator[Piece]:
        """(row numbers (rows,), column number -> (rows,) unsigned) of successive pieces of the session.

        wanted: columns; by default all. most: blocks in a piece; by default the fastest number. runs: part of the
        session; by default all.
        """
        bits = self.setup.bits
        runs = self.runs if runs is None else runs
        fast = unpack.fast_pays(sum(run.count for run in runs))
        most = min(most or (FAST_PIECE if fast else PIECE), max(1, MOST_ROWS // self.most_rows))
        own = threading.local()

        def look(batch: list[Run]) -> tuple[np.ndarray, unpack.Rows]:
            if not hasattr(own, "buffer"):
                own.buffer = bytearray(most * layout.SLOT)
            blocks = self.store.fetch(batch, own.buffer)
            keep = scan.is_rows(blocks[:, layout.AT_KIND])
            if self.store.unusable:
                keep &= [place not in self.store.unusable for place in places_of(batch)]
            return keep, unpack.unpack(blocks if keep.all() else blocks[keep], bits, wanted, fast)

        # with numpy's many short steps, waiting for Python's lock costs more than a second thread gains (measured)
        parts = list(batches(runs, most))
        for batch, (keep, got) in zip(parts, two_at_a_time(look, parts, fast)):
            if got.bad.any():
                places = places_of(batch)
                self._refuse([places[at] for at in np.flatnonzero(keep)[got.bad].tolist()])
            if len(got.row):
                yield got.row, got.columns

    @property
    def most_rows(self) -> int:
        """Rows of the session's longest block."""
        longest = (
            int(self.store.indexes[run.file].slots["rows"][slots].max())
            for run, slots in _row_slots(self.store, self.runs)
            if len(slots)
        )
        return max(longest, default=1)

    def all_packed(self) -> bool:
        """Whether all row blocks are packed."""
        kinds = (self.store.indexes[run.file].slots["kind"][run.slot : run.slot + run.count] for run in self.runs)
        return not any((kind == layout.PLAIN).any() for kind in kinds)

    def spread(self, count: int) -> list[Run]:
        """About `count` single row blocks spread evenly over the session, including its last."""
        total = sum(run.count for run in self.runs)
        wanted = np.unique(np.linspace(0, total - 1, count).astype(np.int64))
        out = []
        for one in single_runs(self.runs, wanted):
            if scan.is_rows(self.store.indexes[one.file].slots["kind"][one.slot]):
                out.append(one)
        for run in reversed(self.runs):
            kinds = self.store.indexes[run.file].slots["kind"][run.slot : run.slot + run.count]
            there = np.flatnonzero(scan.is_rows(kinds))
            if len(there):
                last = run.part(run.start + int(there[-1]), run.start + int(there[-1]) + 1)
                return out if out and out[-1] == last else [*out, last]
        return out

    def _refuse(self, places: list[tuple[int, int]]) -> None:
        fresh = [place for place in places if place not in self.store.unusable]
        if fresh:
            self.store.unusable.update(fresh)
            self.first, self.end, self.rows, self.holes, self.ordered = _rows_of(self.store, self.runs)


def places_of(runs: list[Run]) -> list[tuple[int, int]]:
    """(file, slot) of each block of some runs."""
    return [(run.file, slot) for run in runs for slot in range(run.slot, run.slot + run.count)]


def single_runs(runs: list[Run], numbers: np.ndarray) -> list[Run]:
    """The blocks with these numbers, counted over the runs, as runs of their own."""
    ends = np.cumsum([run.count for run in runs])
    which = np.searchsorted(ends, numbers, side="right")
    out = []
    for number, at in zip(numbers.tolist(), which.tolist()):
        start = runs[at].end - int(ends[at]) + number
        out.append(runs[at].part(start, start + 1))
    return out


def batches(runs: list[Run], most: int) -> Iterator[list[Run]]:
    """The runs in batches of up to `most` blocks."""
    batch: list[Run] = []
    room = most
    for run in runs:
        start = run.start
        while start < run.end:
            part = run.part(start, min(run.end, start + room))
            batch.append(part)
            start, room = part.end, room - part.count
            if not room:
                yield batch
                batch, room = [], most
    if batch:
        yield batch


@dataclass
class Found:
    """sessions: those with rows and a setup, in order. undecoded: session -> number of row blocks, without a setup.

    faults: sentences about setup groups that could not be used.
    """

    sessions: list[SessionBlocks]
    undecoded: dict[int, int]
    faults: list[str]


def find(store: Store) -> Found:
    """The sessions of a store."""
    by_session = _power_ons(store)
    out, undecoded, faults = [], {}, []
    setups = {one: setup_of(store, _of_kind(store, runs, layout.SETUP), faults) for one, runs in by_session.items()}
    others = [setup for setup in setups.values() if setup is not None]
    for session, runs in by_session.items():
        setup = setups[session]
        if setup is not None:
            _refuse_endless(store, runs, setup)
        first, end, rows, holes, ordered = _rows_of(store, runs)
        if not rows:
            continue
        setup = setup or _beside(store, runs, others)
        if setup is None:
            undecoded[session] = sum(len(part) for _, part in _row_slots(store, runs))
            continue
        kept = _health(store, runs), _codes(store, runs)
        made = SessionBlocks(session, store, setup, runs, first, end, rows, holes, ordered, *kept)
        if next(made.pieces(most=FEW), None) is None:
            undecoded[session] = sum(int(scan.is_rows(kinds).sum()) for kinds in _kinds(store, runs))
            faults.append("all of its rows are inconsistent, although the checksums are right")
        else:
            out.append(made)
    return Found(out, undecoded, faults)


def _kinds(store: Store, runs: list[Run]) -> Iterator[np.ndarray]:
    return (store.indexes[run.file].slots["kind"][run.slot : run.slot + run.count] for run in runs)


def _refuse_endless(store: Store, runs: list[Run], setup: Setup) -> None:
    """Reject blocks that claim more rows than a logger puts into one: a few bytes could unfold to gigabytes."""
    most = max(BLOCK_ROWS, int(BLOCK_S * 1e6 / setup.period_us))
    for run, slots in _row_slots(store, runs):
        rows = store.indexes[run.file].slots["rows"][slots]
        store.unusable.update((run.file, int(slot)) for slot in slots[rows > most])


def _power_ons(store: Store) -> dict[int, list[Run]]:
    """The blocks of each session by its number.

    After 65,535 the number is 1 again. A number that returns after others is another session and is counted from 65,536
    (FORMAT.md, "A block").
    """
    out: dict[int, list[Run]] = {}
    last, turns = 0, 0
    for run in store.ordered.runs:
        for session, part in _by_session(store, run):
            if session:  # 0: a birth block, which belongs to no session
                if last > MOST // 2 > session and session + turns * MOST in out:
                    turns += 1
                last = session
            out.setdefault(session + turns * MOST if session else 0, []).append(part)
    return out


def _by_session(store: Store, run: Run) -> Iterator[tuple[int, Run]]:
    sessions = store.indexes[run.file].slots["session"][run.slot : run.slot + run.count]
    cuts = np.flatnonzero(sessions[1:] != sessions[:-1]) + 1
    for low, high in zip([0, *cuts.tolist()], [*cuts.tolist(), run.count]):
        yield int(sessions[low]), run.part(run.start + low, run.start + high)


def _row_slots(store: Store, runs: list[Run]) -> Iterator[tuple[Run, np.ndarray]]:
    """(run, slots in it with usable rows). Long runs come in windows, since all their numbers need much memory."""
    for whole in runs:
        for low in range(0, whole.count, WINDOW):
            run = whole.part(whole.start + low, whole.start + min(low + WINDOW, whole.count))
            kind = store.indexes[run.file].slots["kind"][run.slot : run.slot + run.count]
            slots = np.flatnonzero(scan.is_rows(kind)) + run.slot
            if store.unusable:
                slots = slots[[(run.file, slot) not in store.unusable for slot in slots.tolist()]]
            yield run, slots


def _rows_of(store: Store, runs: list[Run]) -> tuple[int, int, int, list[Hole], bool]:
    """(first row, end, number of rows, gaps, whether rows rise), from the headers alone."""
    holes = []
    least, most, end, count = 0, 0, 0, 0
    ordered = True
    missing, copies, last = 0, False, None
    for run, slots in _row_slots(store, runs):
        if last is not None:
            lost = store.lost_between(last, run)
            missing += lost
            copies |= run.start - last.end > lost
        last = run
        if not len(slots):
            missing += _unusable(store, run, run.slot, run.slot + run.count)
            continue
        missing += _unusable(store, run, run.slot, int(slots[0]))
        index = store.indexes[run.file]
        first = index.slots["first"][slots].astype(np.int64)
        rows = index.slots["rows"][slots].astype(np.int64)
        ends = first + rows
        before = np.concatenate([[end if count else first[0]], ends[:-1]])
        hole = first - before
        ordered &= bool((hole >= 0).all())
        for at in np.flatnonzero(hole > 0).tolist():
            size, told = int(hole[at]), index.lost.get(int(slots[at]), 0)
            told = size if told == LOST_OR_MORE else min(told, size)
            if at:
                inside = _unusable(store, run, int(slots[at - 1]) + 1, int(slots[at]))
                holes.append(Hole(int(before[at]), int(first[at]), told, inside, False))
            else:
                holes.append(Hole(int(before[at]), int(first[at]), told, missing, copies))
        least = min(least, int(first.min())) if count else int(first.min())
        most = max(most, int(ends.max()))
        end = int(ends[-1])
        count += int(rows.sum())
        missing, copies = _unusable(store, run, int(slots[-1]) + 1, run.slot + run.count), False
    return least, most, count, holes, ordered


def _unusable(store: Store, run: Run, first: int, end: int) -> int:
    """The number of row blocks found inconsistent in some slots of a run's file."""
    if not store.unusable:
        return 0
    return sum((run.file, slot) in store.unusable for slot in range(first, end))


def _of_kind(store: Store, runs: list[Run], kind: int) -> list[Run]:
    """The blocks of one kind, as runs of neighbours."""
    out: list[Run] = []
    for run in runs:
        kinds = store.indexes[run.file].slots["kind"][run.slot : run.slot + run.count]
        for at in np.flatnonzero(kinds == kind).tolist():
            if out and out[-1].end == run.start + at:
                last = out[-1]
                if last.file == run.file and last.slot + last.count == run.slot + at:
                    out[-1] = Run(last.start, last.file, last.slot, last.count + 1)
                    continue
            out.append(Run(run.start + at, run.file, run.slot + at, 1))
    return out


def _beside(store: Store, runs: list[Run], others: list[Setup]) -> Setup | None:
    """The setup from logger.json beside the files, if the session's rows fit it; else None."""
    setup = setup_beside([index.file for index in store.indexes], others)
    if setup is None:
        return None
    places = [
        run.part(run.start + int(slot) - run.slot, run.start + int(slot) - run.slot + 1)
        for run, slots in _row_slots(store, runs)
        for slot in slots[:: max(1, len(slots) // TRIED)].tolist()
    ]
    return setup if fits(store.fetch(places[:: max(1, len(places) // TRIED)]), setup) else None


def _codes(store: Store, runs: list[Run]) -> bytes:
    """What the car's computers answered about trouble codes, as it stands in the session's last block of them."""
    for run in reversed(_of_kind(store, runs, layout.CODES)):
        for block in store.fetch([run])[::-1]:
            return read_setup.text_of(block[None, :])
    return b""


def _health(store: Store, runs: list[Run]) -> dict:
    """The content of the session's last health block; {} without one."""
    for run in reversed(_of_kind(store, runs, layout.HEALTH)):
        for block in store.fetch([run])[::-1]:
            told = read_setup.json_object(read_setup.text_of(block[None, :]))
            if told is not None:
                return told
    return {}
