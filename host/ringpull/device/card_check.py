"""Whether a card is fit for the logger: how long its writes take at worst, and whether all the room it tells is there.

Written is only into free space, in files of its own, which are removed afterwards. A false card either loses what lies
beyond its true size, or puts it over what lies at its beginning. Pieces are spread over the free space, with room
between them that is taken and not written, and read back: one that is lost is found at once. A longer file, as long as
the distance of the pieces, lies before them all: one of those that come back to the beginning falls into it. That file
systems give their room in order is common practice, no source; `whole` writes everything and needs no such order.
"""

from __future__ import annotations

import errno
import random
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Protocol

from shared_math import proving

APART = 128 << 20  # bytes from piece to piece, and of the file before them
PIECE = 64 << 10
MOST_FILE = (4 << 30) - (1 << 20)  # FAT's limit, and some
LEFT = 1 << 20  # room that is not touched
TIMED_FILE = 1 << 20
TIMED_WRITES = 512
TIMED_BYTES = 4096  # eight blocks, the most that the logger writes at once
LEAST_ROOM = 72 << 20  # of both ring files as `prepare` makes them
STEP = 1 << 20
FAT = ("vfat", "msdos", "FAT32", "FAT")


class Room(Protocol):
    """Files of our own on a card. Every method may raise OSError."""

    proves: bool  # whether what is read comes from the card itself, not from the PC's memory
    system: str  # the file system, "" where it is not told

    def free(self) -> int:
        """Bytes."""
        ...

    def take(self, name: str, size: int) -> bool:
        """Give a new file so much room without writing it; whether this system can."""
        ...

    def append(self, name: str, data: bytes) -> None:
        """To a file, until the card has it."""
        ...

    def overwrite(self, name: str, at: int, data: bytes) -> float:
        """In place, until the card has it; the seconds that this took."""
        ...

    def read(self, name: str, at: int, size: int) -> bytes:
        """From the card."""
        ...

    def clear(self) -> None:
        """Remove all our files."""
        ...


@dataclass
class Found:
    """free: bytes before. write_s: of each timed write. spread: bytes
    of the free space that pieces were spread over. written, right: bytes written, and read back right. true_bytes: how
    much of the free space is there, None where all is or where it is not known. failed: the system's words, or "".
    whole: whether all was written. proves: whether what was read came from the card."""

    free: int
    system: str
    proves: bool
    write_s: list[float] = field(default_factory=list)
    spread: int = 0
    written: int = 0
    right: int = 0
    true_bytes: int | None = None
    failed: str = ""
    whole: bool = False

    @property
    def worst_ms(self) -> float:
        """Of the timed writes."""
        return 1000 * max(self.write_s, default=0.0)

    @property
    def mean_ms(self) -> float:
        """Of the timed writes."""
        return 1000 * sum(self.write_s) / max(1, len(self.write_s))

    @property
    def reasons(self) -> list[str]:
        """Why the card is not fit; empty where it is."""
        out = []
        if self.right < self.written:
            there = "" if self.true_bytes is None else size_words(self.true_bytes)
            true = f"; some {there} of its free space are there" if there else ""
            out.append(f"it is not as large as it says, or worn: what was written did not come back{true}")
        if self.failed:
            out.append(f"the system gave up on it: {self.failed}")
        if self.worst_ms > proving.WORST_WRITE_US / 1000:
            most = proving.WORST_WRITE_US // 1000
            out.append(f"a write took {self.worst_ms:.0f} ms; the logger has room for {most} ms of rows")
        if self.system and self.system not in FAT:
            out.append(f"it is formatted as {self.system}; the logger writes FAT32 alone")
        if self.free < LEAST_ROOM:
            out.append(f"{size_words(self.free)} are free; the ring files take {size_words(LEAST_ROOM)}")
        return out

    def as_json(self) -> dict[str, Any]:
        """Plain values."""
        return {
            "fit": not self.reasons,
            "reasons": self.reasons,
            "system": self.system or None,
            "free_bytes": self.free,
            "worst_write_ms": round(self.worst_ms, 3),
            "mean_write_ms": round(self.mean_ms, 3),
            "spread_bytes": self.spread,
            "written_bytes": self.written,
            "right_bytes": self.right,
            "true_bytes": self.true_bytes,
            "whole": self.whole,
            "read_from_card": self.proves,
        }


def size_words(size: float) -> str:
    """In units of ten, as cards are sold."""
    return f"{size / 1e9:.1f} GB" if size >= 1e9 else f"{size / 1e6:.0f} MB"


def content(at: int, size: int) -> bytes:
    """What stands at byte `at` of the free space: another everywhere, so that no piece passes for its neighbour."""
    return random.Random(at).randbytes(size)


def check(room: Room, whole: bool = False, progress: Callable[[float], None] | None = None, apart: int = 0) -> Found:
    """Write, read back, remove: its files go whatever happens, also on Ctrl-C.

    apart: bytes from piece to piece, 0 for the usual.
    """
    found = Found(room.free(), room.system, room.proves, whole=whole)
    try:
        room.append("timed", bytes(TIMED_FILE))
        for number in range(TIMED_WRITES):
            at = number * TIMED_BYTES % TIMED_FILE
            found.write_s.append(room.overwrite("timed", at, content(-1 - number, TIMED_BYTES)))
        _Spread(room, found, progress or (lambda _part: None), apart or APART).run()
    except OSError as error:
        found.failed = error.strerror or str(error)
    finally:
        room.clear()
    return found


@dataclass(frozen=True)
class _Piece:
    name: str
    at: int
    size: int


class _Full(Exception):
    """No room is left."""


class _Spread:
    """Pieces over the free space, and what comes back of them."""

    def __init__(self, room: Room, found: Found, progress: Callable[[float], None], apart: int) -> None:
        self.room = room
        self.found = found
        self.progress = progress
        self.free = max(0, room.free() - LEFT)
        self.apart = min(max(apart, 2 * PIECE), MOST_FILE)
        self.pieces: list[_Piece] = []

    def run(self) -> None:
        found = self.found
        try:
            self._write("first", min(self.apart, self.free))
            while found.spread + PIECE < self.free:
                name = str(len(self.pieces))
                gap = min(self.apart - PIECE, self.free - found.spread - PIECE)
                if found.whole or not self._take("gap" + name, gap):
                    found.whole = True
                    self._write("gap" + name, gap)
                self._write("piece" + name, PIECE)
                if not found.whole and self._right(self.pieces[-1]) < PIECE:
                    found.true_bytes = self.pieces[-1].at
                    return
        except _Full:
            pass
        found.right = 0
        for number, piece in enumerate(self.pieces):
            self.progress(0.5 + 0.5 * number / len(self.pieces))
            found.right += self._right(piece)
        if found.whole and found.right < found.written:
            found.true_bytes = found.right

    def _take(self, name: str, size: int) -> bool:
        """Room between two pieces; whether it was taken unwritten."""
        try:
            if size > 0 and not self.room.take(name, size):
                return False
        except OSError as error:
            raise _full(error) from None
        self.found.spread += size
        return True

    def _write(self, name: str, size: int) -> None:
        start, done = self.found.spread, 0
        try:
            while done < size:
                step = min(STEP, size - done)
                self.room.append(name, content(start + done, step))
                done += step
                self.progress(0.5 * (start + done) / self.free)
        except OSError as error:
            raise _full(error) from None
        finally:
            if done:
                self.pieces.append(_Piece(name, start, done))
            self.found.written += done
            self.found.spread += done

    def _right(self, piece: _Piece) -> int:
        """Bytes of a piece that come back as they were written."""
        right = 0
        for done in range(0, piece.size, STEP):
            step = min(STEP, piece.size - done)
            if self.room.read(piece.name, done, step) == content(piece.at + done, step):
                right += step
        return right


def _full(error: OSError) -> Exception:
    return _Full() if error.errno == errno.ENOSPC else error
