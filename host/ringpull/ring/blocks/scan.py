"""The first scan of a file: which slots hold blocks, and the few header fields of each that later steps need.

Memory is bounded by the index of INDEX.itemsize bytes per slot; the file itself is read in chunks.
"""

from __future__ import annotations

import errno
import os
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

import numpy as np

from ringpull.errors import SourceChanged
from ringpull.ring.blocks import crc
from ringpull.ring.blocks.cores import two_at_a_time
from ringpull.ring.blocks.source import RingFile
from shared_math import layout

CHUNK = 8192  # slots examined together, 4 MiB; with fewer, two threads wait for each other
TWO_CORES_FROM = 4 * CHUNK  # slots; with fewer, a second thread costs more than it saves

# States of a slot
GOOD, EMPTY, DAMAGED, NO_BLOCK, NEWER, UNKNOWN = range(6)

REASONS = {
    DAMAGED: "damaged: the checksum is wrong",
    NO_BLOCK: "not a block of a ring file: other data, or an interrupted write",
    NEWER: "written in a newer version of the format",
    UNKNOWN: "of a kind that this version does not know",
}

# A block as a numpy record (FORMAT.md, "A block" and "Rows")
BLOCK = np.dtype(
    {
        "names": ["magic", "version", "kind", "ring", "sequence", "session", "first", "rows", "lost"],
        "formats": ["<u2", "u1", "u1", "<u4", "<u4", "<u2", "<u4", "<u2", "<u2"],
        "offsets": [
            layout.AT_MAGIC,
            layout.AT_VERSION,
            layout.AT_KIND,
            layout.AT_RING,
            layout.AT_SEQUENCE,
            layout.AT_SESSION,
            layout.AT_FIRST_ROW,
            layout.AT_ROWS,
            layout.AT_LOST,
        ],
        "itemsize": layout.SLOT,
    }
)
MAGIC = layout.MAGIC_0 | layout.MAGIC_1 << 8

INDEX = np.dtype(
    [("sequence", "<u4"), ("first", "<u4"), ("session", "<u2"), ("rows", "<u2"), ("state", "u1"), ("kind", "u1")]
)
OTHER_RING = 255


@dataclass
class FileIndex:
    """The content of the slots of one file.

    slots: (slots,) of INDEX. ring: (slots,) uint8, the index of the ring id in `rings`; None if all blocks are of one
    ring. lost: slot -> rows lost just before it, if any. versions: newer versions that were found.
    """

    file: RingFile
    slots: np.ndarray
    ring: np.ndarray | None
    rings: list[int]
    lost: dict[int, int]
    versions: set[int] = field(default_factory=set)


@dataclass
class _Part:
    first: int
    count: int
    ring: np.ndarray | None  # (slots,) ring ids; None if no slot holds a block
    lost: dict[int, int]
    versions: set[int]


def index_file(file: RingFile, progress: Callable[[float], None] | None = None) -> FileIndex:
    """Scan every slot of a file. Raises OSError if it can't be read."""
    slots = np.zeros(file.slots, INDEX)
    found: dict[int, int] = {}
    ring: np.ndarray | None = None
    lost: dict[int, int] = {}
    versions: set[int] = set()
    with open(file.path, "rb", buffering=0) as stream:
        for part in _parts(stream.fileno(), file.slots, slots):
            end = part.first + part.count
            if part.ring is not None and (here := slots["state"][part.first : end] == GOOD).any():
                only = part.ring[here]
                if (only == only[0]).all():
                    ids = [int(only[0])]
                else:
                    ids = [int(one) for one in np.unique(only)]
                for one in ids:
                    if one not in found:
                        found[one] = min(len(found), OTHER_RING)
                if len(found) > 1:
                    if ring is None:
                        ring = np.zeros(file.slots, np.uint8)
                    for one in ids:
                        ring[part.first : end][here & (part.ring == one)] = found[one]
            lost.update(part.lost)
            versions |= part.versions
            if progress and file.slots:
                progress(end / file.slots)
    return FileIndex(file, slots, ring, list(found)[:OTHER_RING], lost, versions)


def _parts(stream: int, count: int, slots: np.ndarray) -> Iterator[_Part]:
    """The chunks in order."""
    own = threading.local()

    def look(first: int) -> _Part:
        if not hasattr(own, "buffer"):
            own.buffer = bytearray(CHUNK * layout.SLOT)
        return _look(stream, first, min(CHUNK, count - first), slots, own.buffer)

    return two_at_a_time(look, range(0, count, CHUNK), count >= TWO_CORES_FROM)


def _look(stream: int, first: int, count: int, slots: np.ndarray, buffer: bytearray) -> _Part:
    """Check and index `count` slots from `first` on."""
    here = slots[first : first + count]
    if _is_hole(stream, first * layout.SLOT, (first + count) * layout.SLOT):
        here["state"] = EMPTY
        return _Part(first, count, None, {}, set())
    view = memoryview(buffer)[: count * layout.SLOT]
    read_fully(stream, view, first * layout.SLOT)
    if not view[0] and not np.frombuffer(view, "<u8").max():
        here["state"] = EMPTY
        return _Part(first, count, None, {}, set())
    blocks = np.frombuffer(view, BLOCK)
    for name in ("sequence", "first", "session", "kind"):
        here[name] = blocks[name]
    np.bitwise_and(blocks["rows"], layout.ROWS_MASK, out=here["rows"])
    state = judge(view, blocks)
    here["state"] = state
    lost = {}
    versions: set[int] = set()
    told = np.flatnonzero(blocks["lost"])
    if len(told):
        told = told[(state[told] == GOOD) & is_rows(blocks["kind"][told])]
        lost = {first + int(n): int(blocks["lost"][n]) for n in told}
    if (state == NEWER).any():
        versions = {int(one) for one in np.unique(blocks["version"][state == NEWER])}
    return _Part(first, count, blocks["ring"].copy(), lost, versions)


def _is_hole(stream: int, begin: int, end: int) -> bool:
    """Whether the file system knows that a part of the file was never written, so that it need not be read."""
    if not hasattr(os, "SEEK_DATA"):
        return False
    try:
        return os.lseek(stream, begin, os.SEEK_DATA) >= end
    except OSError as fault:
        # no data until the end of the file if that is behind; else unknown
        return fault.errno == errno.ENXIO and os.fstat(stream).st_size >= end


def judge(view: memoryview, blocks: np.ndarray) -> np.ndarray:
    """The state of each slot, (slots,) uint8. view: the bytes; blocks: these bytes as BLOCK records."""
    count = len(blocks)
    state = np.zeros(count, np.uint8)
    if crc.crc32(view) != crc.of_valid(count):
        magic = blocks["magic"] == MAGIC
        state[~magic] = NO_BLOCK
        suspects = np.flatnonzero(~magic)
        if len(suspects):
            words = np.frombuffer(view, "<u8").reshape(count, layout.SLOT // 8)
            blank = suspects[words[suspects, 0] == 0]
            state[blank[~words[blank].any(axis=1)]] = EMPTY
        for first, length in _stretches(magic):
            bad: list[int] = []
            crc.wrong(view, first, length, bad)
            state[bad] = DAMAGED
    else:
        state[blocks["magic"] != MAGIC] = NO_BLOCK
    good = state == GOOD
    version, kind = blocks["version"], blocks["kind"]
    state[good & (version == 0)] = NO_BLOCK
    good = state == GOOD
    newer = good & (version > layout.VERSION)
    if newer.any():
        state[newer] = NEWER
        good &= ~newer
    unknown = good & (kind < layout.OPTIONAL) & ((kind < layout.SETUP) | (kind > layout.BIRTH))
    if unknown.any():
        state[unknown] = UNKNOWN
    return state


def is_rows(kind: np.ndarray) -> np.ndarray:
    """Whether blocks of each kind hold rows."""
    return (kind == layout.PACKED) | (kind == layout.PLAIN)


def _stretches(flags: np.ndarray) -> list[tuple[int, int]]:
    """(first, length) of the runs of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(np.int8)))
    return [(int(a), int(b - a)) for a, b in zip(edges[::2], edges[1::2])]


def read_fully(stream: int, view: memoryview, at: int) -> None:
    """Fill `view` from byte `at` on. Raises SourceChanged if the file ends before, OSError if it can't be read."""
    done = 0
    while done < len(view):
        if hasattr(os, "preadv"):
            got = os.preadv(stream, [view[done:]], at + done)
        else:  # on Windows, where only one thread reads
            os.lseek(stream, at + done, os.SEEK_SET)
            data = os.read(stream, len(view) - done)
            got = len(data)
            view[done : done + got] = data
        if not got:
            raise SourceChanged(
                "the ring file became shorter while it was being read",
                "it is being copied or replaced, or its card was taken out",
                "wait until that is done, then run the command again",
            )
        done += got
