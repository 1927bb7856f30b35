"""The blocks of one or several files: indexed, in order, and with access to their bytes."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from ringpull.errors import BadUsage, NotARingFile
from ringpull.ring.blocks import order, rings, scan
from ringpull.ring.blocks.order import Run
from ringpull.ring.blocks.source import RINGS, RingFile, ring_files, without_a_byte
from shared_math import layout

UNUSABLE_ROWS = "damaged: its rows are inconsistent although the checksum is right"
CUT_SHORT = "the file ends within this block"
MOST_NAMED = 4  # files that an error names


@dataclass(frozen=True)
class Damage:
    """A rejected slot. block: number of the slot in `file`, from 0. reason: in words."""

    block: int
    file: str
    reason: str


@dataclass(frozen=True)
class Blocks:
    """Counts of blocks.

    read: used, each once. damaged: slots with wrong content. missing: sequence numbers without a block. foreign: valid
    blocks of other rings. refused: blocks of newer versions or unknown kinds, and differing blocks with the same
    number.
    """

    read: int
    damaged: int
    missing: int
    foreign: int
    refused: int


@dataclass
class Store:
    """indexes: one for each file. ordered: all blocks. unusable: (file, slot) of row blocks found inconsistent.
    empty: name of a drive's file without a byte, which is none of them."""

    indexes: list[scan.FileIndex]
    ordered: order.Ordered
    unusable: set[tuple[int, int]] = field(default_factory=set)
    empty: str = ""

    @property
    def cut_short(self) -> tuple[str, bool] | None:
        """(name, whether it has no rows) of the file of the whole drive, if the copies of pulls reach further than it.

        Blocks are copied from the drive after they were written there, so its newest is never older than theirs.
        """
        if self.empty:
            return self.empty, True
        whole = [one for one in self.indexes if not one.file.pulls]
        if not whole or not self.ordered.runs or not self.indexes[self.ordered.runs[-1].file].file.pulls:
            return None
        return whole[-1].file.name, not any(not self.indexes[run.file].file.pulls for run in self.ordered.runs)

    def fetch(self, runs: list[Run], buffer: bytearray | None = None) -> np.ndarray:
        """The blocks of some runs, (n, 512) uint8. With `buffer` they lie in it and are valid until its next use."""
        size = sum(run.count for run in runs) * layout.SLOT
        view = memoryview(bytearray(size) if buffer is None else buffer)[:size]
        at = 0
        with ExitStack() as stack:
            streams: dict[int, int] = {}
            for run in runs:
                if run.file not in streams:
                    stream = stack.enter_context(open(self.indexes[run.file].file.path, "rb", buffering=0))
                    streams[run.file] = stream.fileno()
                end = at + run.count * layout.SLOT
                scan.read_fully(streams[run.file], view[at:end], run.slot * layout.SLOT)
                at = end
        return np.frombuffer(view, np.uint8).reshape(-1, layout.SLOT)

    def damage(self) -> list[Damage]:
        """All rejected slots with the reasons, file by file."""
        out = []
        named = {(at, slot): order.FOREIGN for at, slot in self.ordered.foreign}
        named |= {(at, slot): order.UNLIKE for at, slot in self.ordered.unlike}
        named |= dict.fromkeys(self.unusable, UNUSABLE_ROWS)
        for at, index in enumerate(self.indexes):
            name = index.file.name
            here = [(slot, reason) for (file, slot), reason in named.items() if file == at]
            state = index.slots["state"]
            for slot in np.flatnonzero(state > scan.EMPTY).tolist():
                if slot < self.ordered.stale[at] or state[slot] in (scan.NEWER, scan.UNKNOWN):
                    here.append((slot, scan.REASONS[int(state[slot])]))
            out += [Damage(slot, name, reason) for slot, reason in sorted(here)]
            if index.file.tail:
                out.append(Damage(index.file.slots, name, CUT_SHORT))
        return out

    def blocks(self) -> Blocks:
        """The counts over all files."""
        damaged = len(self.unusable)
        refused = len(self.ordered.unlike)
        for at, index in enumerate(self.indexes):
            state = index.slots["state"]
            wrong = state[: self.ordered.stale[at]]
            damaged += int(((wrong == scan.DAMAGED) | (wrong == scan.NO_BLOCK)).sum())
            refused += int(((state == scan.NEWER) | (state == scan.UNKNOWN)).sum())
        return Blocks(self.ordered.blocks, damaged, self._missing(), self.ordered.others, refused)

    def _missing(self) -> int:
        """The number of sequence numbers without a block."""
        runs = self.ordered.runs
        oldest = min((run.start for run in runs if not self.indexes[run.file].file.pulls), default=None)
        return sum(
            self.lost_between(before, after)
            for before, after in zip(runs, runs[1:])
            if oldest is None or before.end > oldest  # blocks before the drive's ring were overwritten
        )

    def lost_between(self, before: Run, after: Run) -> int:
        """The number of blocks missing between two runs.

        In a file of pulls, whose numbers jump between copies, only slots without a block are counted.
        """
        hole = after.start - before.end
        index = self.indexes[before.file]
        if hole <= 0 or before.file != after.file or not index.file.pulls:
            return max(hole, 0)
        between = index.slots["state"][before.slot + before.count : max(after.slot, 0)]
        return min(hole, int((between != scan.GOOD).sum()))


def open_store(source: str | Path, progress: Callable[[float], None] | None = None, ring: str | None = None) -> Store:
    """Index and order the blocks of SRC. ring: id of the ring to read; by default the newest.

    Raises SourceMissing, NotARingFile, BadUsage if there is no such ring, or OSError.
    """
    files = ring_files(source)
    total = sum(file.slots for file in files) or 1
    indexes = []
    done = 0
    for file in files:
        indexes.append(scan.index_file(file, _share(progress, done / total, file.slots / total)))
        done += file.slots
    ordered = order.in_order(indexes, None if ring is None else rings.asked_for(indexes, ring))
    if ordered.ring is None:
        _refuse(files, indexes)
    if ring is None:
        _refuse_mixed(Path(source), indexes, ordered)
    return Store(indexes, ordered, empty=without_a_byte(Path(source)))


def _share(progress: Callable[[float], None] | None, begin: float, share: float) -> Callable[[float], None] | None:
    return None if progress is None else lambda fraction: progress(begin + share * fraction)


def _refuse_mixed(folder: Path, indexes: list[scan.FileIndex], ordered: order.Ordered) -> None:
    """Raise BadUsage if a folder's renamed files are not of one recording, since it is unknown which is meant or
    newer."""
    renamed = [i for i in indexes if i.rings and not i.file.path.stem.isdigit() and i.file.path.stem not in RINGS]
    if len(renamed) < 2:
        return
    chief = {max(one.rings, key=lambda ring: int(rings.blocks_of(one, ring).sum())) for one in renamed}
    if len(chief) < 2 and not ordered.unlike:
        return
    names = sorted(one.file.path.name for one in renamed)
    shown = names if len(names) <= MOST_NAMED else [*names[:MOST_NAMED], f"{len(names) - MOST_NAMED} more"]
    raise BadUsage(
        f"{folder} holds recordings that do not belong together: {', '.join(shown)}",
        "copies of several drives were renamed and put into one folder",
        f"give one of them, as {folder / names[0]}, or give each drive a folder of its own",
    )


def _refuse(files: list[RingFile], indexes: list[scan.FileIndex]) -> None:
    """Raise NotARingFile with what is known about files without a block."""
    what = " and ".join(file.name for file in files)
    states: Counter[int] = Counter()
    for index in indexes:
        states.update(
            index.slots["state"].tolist() if len(index.slots) < 1 << 16 else [int(index.slots["state"].max())]
        )
    versions = sorted(set().union(*(index.versions for index in indexes)))
    if versions:
        raise NotARingFile(
            f"{what} is written in version {versions[-1]} of the ring file; this program reads version "
            f"{layout.VERSION}",
            "the logger's firmware is newer than this program",
            "install a newer ringpull",
        )
    if states and set(states) == {scan.EMPTY}:
        raise NotARingFile(
            f"{what} is empty: no slot was ever written",
            "the file was made, but the logger has not recorded yet",
            "check the logger's lamp and the wiring of its supply",
        )
    if sum(index.file.slots for index in indexes) == 0:
        raise NotARingFile(
            f"{what} is shorter than one block",
            "the copy was interrupted",
            "copy it again from the card",
        )
    raise NotARingFile(
        f"no block of a ring file was found in {what}",
        "it is another kind of file, or it was destroyed",
        "give the file drive.rpl of a card, or the card's folder",
    )
