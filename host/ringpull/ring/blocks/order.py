"""The blocks of all files in the order in which they were written, each once (FORMAT.md, "Rules for a reader").

It works on runs (stretches of slots with consecutive sequence numbers), not on blocks: a healthy ring is two runs.
Sequence numbers wrap, so here they are signed distances from one of them, which can be sorted.
"""

from __future__ import annotations

import heapq
from dataclasses import dataclass, field

import numpy as np

from ringpull.ring.blocks import rings, scan
from ringpull.ring.blocks.rings import Ring
from ringpull.ring.blocks.scan import FileIndex
from shared_math import layout

WINDOW = 1 << 18  # slots that are examined together
FOREIGN = "of another ring: left by another logger, or by this one before its files were made again"
UNLIKE = "two different blocks carry this sequence number"


@dataclass(frozen=True, order=True)
class Run:
    """`count` slots from `slot` on in file number `file`, with sequence numbers `start`, `start` + 1...

    start: distance from the anchor.
    """

    start: int
    file: int
    slot: int
    count: int

    @property
    def end(self) -> int:
        return self.start + self.count

    def part(self, low: int, high: int) -> Run:
        """The blocks with low <= sequence < high."""
        return Run(low, self.file, self.slot + low - self.start, high - low)


@dataclass
class Ordered:
    """runs: in order, without repeated sequence numbers. unlike: (file, slot) of blocks rejected as UNLIKE. foreign:
    (file, slot) of blocks of other rings among the ring's own. others: number of all valid blocks of other rings.

    stale: file -> first slot of its unwritten rest (rule 9). ring: id of the ring used; None if there is no block.
    rings: all rings in the files.
    """

    runs: list[Run]
    ring: int | None
    unlike: list[tuple[int, int]] = field(default_factory=list)
    foreign: list[tuple[int, int]] = field(default_factory=list)
    stale: list[int] = field(default_factory=list)
    others: int = 0
    rings: list[Ring] = field(default_factory=list)

    @property
    def blocks(self) -> int:
        return sum(run.count for run in self.runs)


def in_order(indexes: list[FileIndex], ring: int | None = None) -> Ordered:
    """Order the blocks of one ring over all files; by default of the newest ring.

    Only blocks that share a sequence number, and those that identify the newest ring, are read again.
    """
    newest = rings.newest(indexes, lambda file, slot: _bytes(indexes, Run(0, file, slot, 1)).tobytes())
    if newest is None:
        return Ordered([], None, stale=[0] * len(indexes))
    older = ring is not None and ring != newest
    ring = newest if ring is None else ring
    ours = [rings.blocks_of(index, ring) for index in indexes]
    foreign, others_count = [], 0
    runs: list[Run] = []
    stale = []
    anchor = next(int(index.slots["sequence"][mine.argmax()]) for index, mine in zip(indexes, ours) if mine.any())
    for at, index in enumerate(indexes):
        mine = _runs(at, index.slots["sequence"], ours[at], anchor)
        runs += mine
        stale.append(_unwritten_from(mine, index.file.slots))
        if index.ring is not None or ring not in index.rings:
            others = (index.slots["state"] == scan.GOOD) & ~ours[at]
            others_count += int(others.sum())
            # the rest of an older ring was overwritten, and behind its newest block lies older content of the card
            amid = [] if older else np.flatnonzero(others[: stale[at]]).tolist()
            foreign += [(at, slot) for slot in amid]
    runs.sort()
    out, unlike = _each_once(runs, indexes, ours)
    return Ordered(out, ring, unlike, foreign, stale, others_count, rings.listed(indexes, newest))


def _runs(file: int, sequence: np.ndarray, ours: np.ndarray, anchor: int) -> list[Run]:
    """The runs of one file in order of its slots, made in windows, since all numbers of a large file need much
    memory."""
    out: list[Run] = []
    for low in range(0, len(ours), WINDOW):
        slots = np.flatnonzero(ours[low : low + WINDOW]) + low
        if not len(slots):
            continue
        distance = (sequence[slots] - np.uint32(anchor)).view(np.int32).astype(np.int64)
        breaks = np.flatnonzero((np.diff(distance) != 1) | (np.diff(slots) != 1)) + 1
        firsts = np.concatenate([[0], breaks])
        counts = np.diff(np.concatenate([firsts, [len(slots)]]))
        for start, slot, count in zip(distance[firsts].tolist(), slots[firsts].tolist(), counts.tolist()):
            last = out[-1] if out else None
            if last and last.end == start and last.slot + last.count == slot:
                out[-1] = Run(last.start, file, last.slot, last.count + count)
            else:
                out.append(Run(start, file, slot, count))
    return out


def _unwritten_from(runs: list[Run], slots: int) -> int:
    """The first slot after the newest block if no block of the ring follows it, else `slots`."""
    if not runs:
        return 0
    newest = max(run.end for run in runs)
    last = next(run for run in runs if run.end == newest)
    return last.slot + last.count if last is runs[-1] else slots


def _each_once(
    runs: list[Run], indexes: list[FileIndex], ours: list[np.ndarray]
) -> tuple[list[Run], list[tuple[int, int]]]:
    """Cut overlapping runs so that each sequence number occurs at most once."""
    out: list[Run] = []
    unlike: list[tuple[int, int]] = []
    at = 0
    while at < len(runs):
        end = runs[at].end
        group = [runs[at]]
        at += 1
        while at < len(runs) and runs[at].start < end:
            end = max(end, runs[at].end)
            group.append(runs[at])
            at += 1
        if len(group) == 1:
            out += group
            continue
        for parts in _pieces(group):
            if len(parts) == 1:
                out.append(parts[0])
            else:
                _choose(parts, indexes, ours, out, unlike)
    return out, unlike


def _pieces(group: list[Run]) -> list[list[Run]]:
    """Overlapping runs cut at each other's ends: lists of parts with the same sequence numbers, in order."""
    cuts = sorted({run.start for run in group} | {run.end for run in group})
    out = []
    live: list[tuple[int, Run]] = []
    next_run = 0
    for low, high in zip(cuts, cuts[1:]):
        while next_run < len(group) and group[next_run].start <= low:
            heapq.heappush(live, (group[next_run].end, group[next_run]))
            next_run += 1
        while live and live[0][0] <= low:
            heapq.heappop(live)
        if live:
            out.append(sorted((run.part(low, high) for _, run in live), key=lambda part: (part.file, part.slot)))
    return out


def _choose(
    parts: list[Run], indexes: list[FileIndex], ours: list[np.ndarray], out: list[Run], unlike: list[tuple[int, int]]
) -> None:
    """Of blocks with the same sequence numbers, the first if all are equal; else the one whose neighbours fit."""
    first = parts[0]
    same = np.ones(first.count, bool)
    pieces = max(1, scan.CHUNK // len(parts))
    for low in range(0, first.count, pieces):
        count = min(pieces, first.count - low)
        blocks = [_bytes(indexes, Run(0, part.file, part.slot + low, count)) for part in parts]
        for other in blocks[1:]:
            same[low : low + count] &= (blocks[0] == other).all(axis=1)
    at = 0
    edges = np.flatnonzero(same[1:] != same[:-1]) + 1
    for end in [*edges.tolist(), first.count]:
        if same[at]:
            out.append(first.part(first.start + at, first.start + end))
        else:
            for number in range(first.start + at, first.start + end):
                single = [part.part(number, number + 1) for part in parts]
                found = _fitting(single, indexes, ours)
                unlike += [(one.file, one.slot) for one in single if one is not found]
                if found is not None:
                    out.append(found)
        at = end


def _fitting(single: list[Run], indexes: list[FileIndex], ours: list[np.ndarray]) -> Run | None:
    """Of different blocks with one sequence number, the only one that lies between its neighbours; else None."""
    contents: dict[bytes, Run] = {}
    for one in single:
        contents.setdefault(_bytes(indexes, one).tobytes(), one)
    fitting = [one for one in contents.values() if _between_neighbours(one, indexes[one.file], ours[one.file])]
    return fitting[0] if len(fitting) == 1 else None


def _between_neighbours(one: Run, index: FileIndex, ours: np.ndarray) -> bool:
    slot = one.slot
    if not 0 < slot < len(ours) - 1 or not (ours[slot - 1] and ours[slot + 1]):
        return False
    before, here, after = index.slots["sequence"][slot - 1 : slot + 2].astype(np.int64).tolist()
    return (here - before) % 2**32 == 1 and (after - here) % 2**32 == 1


def _bytes(indexes: list[FileIndex], run: Run) -> np.ndarray:
    """The blocks of a run, (count, 512) uint8."""
    buffer = bytearray(run.count * layout.SLOT)
    with open(indexes[run.file].file.path, "rb", buffering=0) as stream:
        scan.read_fully(stream.fileno(), memoryview(buffer), run.slot * layout.SLOT)
    return np.frombuffer(buffer, np.uint8).reshape(run.count, layout.SLOT)
