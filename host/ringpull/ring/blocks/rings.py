"""The rings in the files, and the card's own, which is the newest (FORMAT.md, "Rules for a reader", rule 3).

A ring begins in slot 0 and overwrites the file's earlier content slot by slot, so the ring in the lowest slots is the
newest. The number of its blocks does not matter: a used card is full of an old ring's blocks.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ringpull.errors import BadUsage
from ringpull.ring.blocks import scan
from ringpull.ring.blocks.scan import FileIndex
from shared_math import layout

CLOCK = re.compile(rb'"utc":\s*"(\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ)"')
FetchSlot = Callable[[int, int], bytes]


@dataclass(frozen=True)
class Ring:
    """One ring. id: hexadecimal, in the order of its bytes in the file. sessions: number of power-ons with rows.
    newest: whether it is the card's own."""

    id: str
    sessions: int
    newest: bool


def as_text(ring: int) -> str:
    """A ring id as shown to people."""
    return ring.to_bytes(4, "little").hex()


def blocks_of(index: FileIndex, ring: int) -> np.ndarray:
    """(slots,) bool: the valid blocks of a ring."""
    good = index.slots["state"] == scan.GOOD
    if ring not in index.rings:
        return np.zeros(len(good), bool)
    if index.ring is None:
        return good
    return good & (index.ring == index.rings.index(ring))


def listed(indexes: list[FileIndex], newest: int) -> list[Ring]:
    """All rings with rows, and the newest even without rows: the newest first, then by number of sessions."""
    out = []
    for ring in sorted({one for index in indexes for one in index.rings}):
        sessions = set()
        for index in indexes:
            rows = blocks_of(index, ring) & scan.is_rows(index.slots["kind"])
            sessions.update(np.unique(index.slots["session"][rows]).tolist())
        if sessions or ring == newest:
            out.append(Ring(as_text(ring), len(sessions), ring == newest))
    return sorted(out, key=lambda one: (not one.newest, -one.sessions, one.id))


def asked_for(indexes: list[FileIndex], text: str) -> int:
    """The ring with this id. Raises BadUsage if no file has it."""
    known = {as_text(one): one for index in indexes for one in index.rings}
    if text.lower() not in known:
        raise BadUsage(
            f"there is no ring {text} here",
            "the id is mistyped, or the ring was overwritten",
            "use one of " + ", ".join(sorted(known)) if known else "read without --ring",
        )
    return known[text.lower()]


def newest(indexes: list[FileIndex], fetch: FetchSlot) -> int | None:
    """The card's own ring; None if there is no block. fetch: returns the bytes of a slot of a file."""
    rings = {one for index in indexes for one in index.rings}
    if len(rings) < 2:
        return next(iter(rings), None)
    lead = next((index for index in indexes if index.rings and not index.file.pulls), None)
    lead = lead or next(index for index in indexes if index.rings)
    first = _in_slot_0(lead)
    if first is not None:
        return first
    left = rings - _named_before(indexes, fetch)
    left = left or rings
    clocks = {ring: _newest_clock(indexes, ring, fetch) for ring in left}
    if len(left) > 1 and all(clocks.values()):
        latest = [ring for ring in left if clocks[ring] == max(clocks.values())]
        if len(latest) == 1:
            return latest[0]
    copies = next((index for index in indexes if index.file.pulls and index.rings), None)
    first = None if copies is None else _in_slot_0(copies)
    if first in left:
        return first
    for index in (lead, *indexes):
        lowest = [(int(blocks_of(index, ring).argmax()), ring) for ring in left if blocks_of(index, ring).any()]
        if lowest:
            return min(lowest)[1]
    return None


def _in_slot_0(index: FileIndex) -> int | None:
    """The ring of the block in a file's first slot; None if it isn't valid or isn't the ring's slot 0."""
    name = index.file.path.stem
    if (name.isdigit() and int(name)) or not len(index.slots) or index.slots["state"][0] != scan.GOOD:
        return None
    return index.rings[0] if index.ring is None else index.rings[int(index.ring[0])]


def _of_kind(index: FileIndex, ring: int, kind: int) -> list[int]:
    return np.flatnonzero(blocks_of(index, ring) & (index.slots["kind"] == kind)).tolist()


def _named_before(indexes: list[FileIndex], fetch: FetchSlot) -> set[int]:
    """The rings that another ring's birth block names as the ring it replaced."""
    out = set()
    for at, index in enumerate(indexes):
        for ring in index.rings:
            for slot in _of_kind(index, ring, layout.BIRTH):
                before = layout.get32(fetch(at, slot), layout.AT_BEFORE)
                if before != ring:
                    out.add(before)
    return out


def _newest_clock(indexes: list[FileIndex], ring: int, fetch: FetchSlot) -> str:
    """The latest clock time in a ring's setup blocks; "" if there is none."""
    latest = ""
    for at, index in enumerate(indexes):
        for slot in _of_kind(index, ring, layout.SETUP):
            told = CLOCK.search(fetch(at, slot)[layout.AT_PAYLOAD : layout.AT_CRC])
            if told:
                latest = max(latest, told[1].decode())
    return latest
