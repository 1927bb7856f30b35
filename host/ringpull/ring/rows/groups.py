"""The setup groups of a session: complete groups, and texts assembled from parts of several equal groups."""

from __future__ import annotations

import zlib
from collections.abc import Iterator

import numpy as np

from ringpull.ring.blocks.order import Run
from ringpull.ring.blocks.store import Store
from ringpull.ring.rows import setup as read_setup
from ringpull.ring.rows.setup import Setup
from shared_math import layout

HEAD = layout.AT_PAYLOAD


def setup_of(store: Store, pieces: list[Run], faults: list[str]) -> Setup | None:
    """The session's setup from its first usable group, else from parts of equal groups; None if neither is left.

    pieces: runs of setup blocks of one session, in order. faults: a sentence is added for each text that can't be used.
    """
    blocks: list[np.ndarray] = []
    starts: list[int] = []
    for piece in pieces:
        starts += range(piece.start, piece.end)
        blocks.append(store.fetch([piece]))
    if not blocks:
        return None
    joined = np.concatenate(blocks)
    for text in [*_whole_groups(joined, starts), *_put_together(joined)]:
        try:
            return read_setup.parse(text)
        except ValueError as fault:
            faults.append(str(fault))
    return None


def _whole_of(block: np.ndarray) -> int:
    return int.from_bytes(block[layout.AT_WHOLE : layout.AT_WHOLE + 4].tobytes(), "little")


def _is_whole(text: bytes, crc: int) -> bool:
    """Whether a text has the CRC that its parts name; parts from older firmware name none."""
    return crc == 0 or zlib.crc32(text) == crc


def _whole_groups(blocks: np.ndarray, starts: list[int]) -> Iterator[bytes]:
    """The texts of groups whose parts are consecutive. starts: sequence number of each block."""
    for begin in np.flatnonzero(blocks[:, layout.AT_PART] == 0).tolist():
        parts = int(blocks[begin, layout.AT_PARTS])
        group = blocks[begin : begin + parts]
        if parts == 0 or len(group) < parts or starts[begin + parts - 1] != starts[begin] + parts - 1:
            continue
        if (group[:, layout.AT_PART] != np.arange(parts)).any() or (group[:, layout.AT_PARTS] != parts).any():
            continue
        wholes = {_whole_of(block) for block in group}
        text = read_setup.text_of(group)
        if len(wholes) == 1 and _is_whole(text, wholes.pop()):
            yield text


def _put_together(blocks: np.ndarray) -> Iterator[bytes]:
    """The texts of which every part is left in some group.

    Parts with the CRC of the whole text belong together by it; parts without it only if all groups of as many parts
    agree.
    """
    groups: dict[tuple[int, int], dict[int, set[bytes]]] = {}
    for block in blocks:
        parts, part = int(block[layout.AT_PARTS]), int(block[layout.AT_PART])
        if part < parts:
            held = groups.setdefault((_whole_of(block), parts), {})
            held.setdefault(part, set()).add(read_setup.text_of(block[None, :]))
    for (crc, parts), held in groups.items():
        if len(held) == parts and all(len(texts) == 1 for texts in held.values()):
            text = b"".join(next(iter(held[part])) for part in range(parts))
            if _is_whole(text, crc):
                yield text
