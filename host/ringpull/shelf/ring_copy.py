"""The blocks of one session, verbatim: what the shelf keeps of a card, and how two copies of a session are compared."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import NamedTuple

import numpy as np

from ringpull.errors import RingpullError
from ringpull.ring.blocks.source import ring_files
from shared_math import layout

PIECE = 1 << 20  # bytes
WEIGHTS = np.random.default_rng(20).integers(0, 1 << 62, layout.SLOT // 8, dtype=np.uint64) * np.uint64(2) + np.uint64(
    1
)


class OtherRecording(RingpullError):
    """Two recordings carry one ring id and session."""


class Merged(NamedTuple):
    """blocks: of both copies, each once, in order. more_than_first, more_than_second: whether they hold blocks that the
    copy lacked."""

    blocks: np.ndarray
    more_than_first: bool
    more_than_second: bool


def fingerprint(source: Path) -> str:
    """What tells one content of SRC from another: every byte of its ring files counts. A file's date tells nothing: the
    logger overwrites sectors in place and changes none. Each slot is summed with odd weights, which any change of one
    word changes, and the sums hashed: SHA-256 of a whole card takes three times as long."""
    out = hashlib.sha256()
    for file in ring_files(source):
        out.update(f"{file.name}:{file.size};".encode())
        buffer = bytearray(PIECE)
        view = memoryview(buffer)
        with open(file.path, "rb", buffering=0) as stream:
            while count := stream.readinto(view):
                whole = count - count % layout.SLOT
                words = np.frombuffer(view[:whole], np.uint64).reshape(-1, layout.SLOT // 8)
                out.update(np.einsum("ij,j->i", words, WEIGHTS).tobytes())
                out.update(view[whole:count])
    return out.hexdigest()


def read(path: Path) -> np.ndarray:
    """The blocks of a copy, (n, 512) uint8."""
    return np.frombuffer(path.read_bytes(), np.uint8).reshape(-1, layout.SLOT)


def sequences(blocks: np.ndarray) -> np.ndarray:
    """Sequence numbers as distances from the first block's, which may wrap. (n,) int64."""
    words = np.ascontiguousarray(blocks[:, layout.AT_SEQUENCE : layout.AT_SEQUENCE + 4]).view("<u4")[:, 0]
    return (words - words[0]).view(np.int32).astype(np.int64) if len(words) else words.astype(np.int64)


def merge(first: np.ndarray, second: np.ndarray) -> Merged | None:
    """Two copies of a session put together; None where blocks with one number differ: another recording."""
    both = np.concatenate([first, second])
    number = sequences(both)
    order = np.argsort(number, kind="stable")
    again = np.flatnonzero(np.diff(number[order]) == 0)
    if (both[order[again]] != both[order[again + 1]]).any():
        return None
    kept = np.delete(order, again + 1)
    total = len(kept)
    return Merged(both[kept], total > len(first), total > len(second))


def shared(first: np.ndarray, second: np.ndarray) -> bool:
    """Whether two copies have any block in common."""
    crc = [set(np.ascontiguousarray(one[:, layout.AT_CRC :]).view("<u4")[:, 0].tolist()) for one in (first, second)]
    return bool(crc[0] & crc[1])
