"""Blocks of the logger's card over the cable while it records: the folder is then as if the card had been pulled."""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from ringpull.cable.link import TRIES, Link
from ringpull.errors import BadUsage, CannotWrite, LoggerRefused
from ringpull.files import connected
from ringpull.ring.rows import setup as setups
from shared_math import cable, layout, ticks

LAST, MARKED, EVERYTHING = "last", "marked", "everything"
RUN = 128  # blocks asked for at once
AHEAD = 64  # blocks that the logger writes at most while it is asked
PROBED = 4  # slots at the end of the file: of which one or another may be damaged
ROUNDS = 4  # what was recorded meanwhile is fetched too, so often at most

NAMES = {cable.DRIVE_FILE: "drive.rpl", cable.PULLS_FILE: "pulls.rpl"}


@dataclass
class Fetched:
    """folder: where the files are. ring: id. blocks: that came over the cable. held: that were there already."""

    folder: Path
    ring: str
    blocks: int = 0
    held: int = 0


@dataclass(frozen=True)
class Place:
    """Of one ring file on the logger. slots: in the file. end: the slot that is written next. sequence: of the next
    block, where blocks are numbered on without holes, else None."""

    which: str
    slots: int
    end: int
    sequence: int | None


def fetch(link: Link, folder: Path, what: str = MARKED, progress: Callable[[float], None] | None = None) -> Fetched:
    """Bring LAST (the last marked pull), MARKED (all of them) or EVERYTHING into `folder`; what it holds already of
    this ring is not fetched again. Raises BadUsage where it holds another ring, CannotWrite, what the link raises."""
    state = link.state()
    done = Fetched(folder, state["ring"])
    _refuse_other_ring(folder, state["ring"])
    try:
        folder.mkdir(parents=True, exist_ok=True)
        _keep_setup(link, state, folder)
        _pulls(link, state, what, done, progress if what != EVERYTHING else None)
        if what == EVERYTHING:
            _drive(link, done, progress)
        if link.state()["ring"] != done.ring:
            raise LoggerRefused(
                "the logger's card was changed while it was being fetched",
                "the card was pulled, and another one pushed in",
                "fetch again: what came of the first card is kept; give the other one a folder of its own with -o",
            )
    except OSError as error:
        raise CannotWrite(
            f"{folder} can't be written: {error.strerror or error}",
            "a full disk, missing rights, or a file of that name",
            "give another folder with -o; what was fetched so far is kept",
        ) from None
    return done


def _pulls(link: Link, state: dict, what: str, done: Fetched, progress: Callable[[float], None] | None) -> None:
    slots, end, began = state["pulls"]
    place = Place(cable.PULLS_FILE, slots, end, None)
    with _file(done.folder, place) as file:
        if what == LAST and began >= 0:
            wanted = [(began + n) % slots for n in range((end - began) % slots)]
            _bring(link, place, file, [slot for slot in wanted if not _held(file, slot, done)], done, progress)
        elif what == LAST:
            _back_to_setup(link, place, file, done)
        else:
            _used(link, place, file, done, progress)


def _drive(link: Link, done: Fetched, progress: Callable[[float], None] | None) -> None:
    for number in range(ROUNDS):
        slots, end, sequence = link.state()["drive"]
        place = Place(cable.DRIVE_FILE, slots, end, sequence)
        with _file(done.folder, place) as file:
            before = done.blocks
            _used(link, place, file, done, progress if not number else None)
        if done.blocks == before:
            return


def _used(link: Link, place: Place, file: BinaryIO, done: Fetched, progress: Callable[[float], None] | None) -> None:
    """Every slot that holds a block of the ring."""
    wrapped = _wrapped(link, place, done.ring)
    slots = [(place.end + n) % place.slots for n in range(place.slots)] if wrapped else list(range(place.end))
    if place.sequence is None:
        fresh = _written_since(link, place, file, done)
        slots = [slot for slot in slots if slot in fresh or not _held(file, slot, done)]
    else:
        slots = [slot for slot in slots if not _held(file, slot, done, _sequence_at(place, slot))]
    _bring(link, place, file, slots, done, progress)


def _wrapped(link: Link, place: Place, ring: str) -> bool:
    """Whether the ring has come round: told by the last slots of the file, since those next to the newest may have been
    written since the state was asked for."""
    if place.slots - place.end <= AHEAD:
        return True  # or will soon: nearly all of it is written
    return any(_of_ring(block, ring) for block in _blocks(link, place, place.slots - PROBED, PROBED))


def _sequence_at(place: Place, slot: int) -> int:
    assert place.sequence is not None
    return (place.sequence - ((place.end - slot - 1) % place.slots + 1)) & 0xFFFFFFFF


def _written_since(link: Link, place: Place, file: BinaryIO, done: Fetched) -> set[int]:
    """Slots of a file with holes in its numbers that the logger has written since it was fetched last."""
    newest = -1
    sequence = 0
    for slot in range(place.slots):
        block = _block(file, slot)
        if _of_ring(block, done.ring) and block[layout.AT_KIND] != layout.BIRTH:
            number = layout.get32(block, layout.AT_SEQUENCE)
            if newest < 0 or ticks.seq_after(number, sequence):
                newest, sequence = slot, number
    if newest < 0:
        return set()
    if next(_blocks(link, place, newest, 1)) != _block(file, newest):
        return set(range(place.slots))  # written all round since then
    return {(newest + 1 + n) % place.slots for n in range((place.end - newest - 1) % place.slots)}


def _back_to_setup(link: Link, place: Place, file: BinaryIO, done: Fetched) -> None:
    """The last pull of an earlier start: back to the setup group that its copies begin with."""
    rows = False
    for n in range(1, place.slots):
        slot = (place.end - n) % place.slots
        block = next(_blocks(link, place, slot, 1))
        if not _of_ring(block, done.ring) or block[layout.AT_KIND] == layout.BIRTH:
            return
        _put(file, slot, block)
        done.blocks += 1
        rows = rows or block[layout.AT_KIND] in (layout.PACKED, layout.PLAIN)
        if rows and block[layout.AT_KIND] == layout.SETUP and not block[layout.AT_PART]:
            return


def _bring(
    link: Link,
    place: Place,
    file: BinaryIO,
    slots: list[int],
    done: Fetched,
    progress: Callable[[float], None] | None,
) -> None:
    at = 0
    while at < len(slots):
        count = 1
        while count < RUN and at + count < len(slots) and slots[at + count] == slots[at] + count:
            count += 1
        for n, block in enumerate(_blocks(link, place, slots[at], count)):
            if not _foreign(block, done.ring):
                _put(file, slots[at] + n, block)
                done.blocks += 1
            if progress:
                progress((at + n + 1) / len(slots))
        at += count


def _blocks(link: Link, place: Place, slot: int, count: int) -> Iterator[bytes]:
    """`count` slots from `slot` on, as they stand on the card; asked for again from where something did not come."""
    silent = 0
    while count:
        link.send(cable.BLOCKS, place.which, str(slot), str(count))
        while count:
            answer = link.answer()
            if answer is None or answer[0] != [cable.BLOCKS, str(slot)] or len(answer[1]) != layout.SLOT:
                break
            yield answer[1]
            silent = 0
            slot += 1
            count -= 1
        else:
            return
        silent += 1
        if silent >= TRIES:
            raise link.silent()


def _of_ring(block: bytes, ring: str) -> bool:
    whole = bytearray(block)
    return layout.verdict(whole) is None and block[layout.AT_RING : layout.AT_RING + 4].hex() == ring


def _foreign(block: bytes, ring: str) -> bool:
    """Whether this is a block of another ring."""
    return layout.verdict(bytearray(block)) is None and block[layout.AT_RING : layout.AT_RING + 4].hex() != ring


def _held(file: BinaryIO, slot: int, done: Fetched, sequence: int | None = None) -> bool:
    """Whether the copy has a block of the ring in this slot, with this sequence where one is given."""
    block = _block(file, slot)
    held = _of_ring(block, done.ring) and sequence in (None, layout.get32(block, layout.AT_SEQUENCE))
    done.held += held
    return held


def _block(file: BinaryIO, slot: int) -> bytes:
    file.seek(slot * layout.SLOT)
    return file.read(layout.SLOT).ljust(layout.SLOT, b"\0")


def _put(file: BinaryIO, slot: int, block: bytes) -> None:
    file.seek(slot * layout.SLOT)
    file.write(block)


def _file(folder: Path, place: Place) -> BinaryIO:
    """The copy, as long as the logger's file; slots that were not fetched take no room on the disk."""
    path = folder / NAMES[place.which]
    size = place.slots * layout.SLOT
    if not path.exists():
        path.touch()
    file = path.open("r+b")
    if path.stat().st_size != size:
        file.truncate(size)
    return file


def _keep_setup(link: Link, state: dict, folder: Path) -> None:
    """The configuration in force, where the folder has none, and when the session began, where its setup does not tell
    it."""
    asked = time.time()
    head = setups.json_object(link.setup_text(state["parts"])) or {}
    path = folder / "logger.json"
    if isinstance(head.get("config"), dict) and not path.exists():
        path.write_text(json.dumps(head["config"], indent=1) + "\n", encoding="utf-8")
    period_us = head.get("period_us")
    if head.get("utc") is None and isinstance(period_us, int):
        began = time.gmtime(asked - state["row"] * period_us / 1e6)
        connected.write(folder, state["ring"], state["session"], time.strftime(connected.FORM, began))


def _refuse_other_ring(folder: Path, ring: str) -> None:
    """Raises BadUsage: blocks of two rings in one file are read as a used card."""
    for name in NAMES.values():
        path = folder / name
        if not path.is_file():
            continue
        with path.open("rb") as file:
            while block := file.read(layout.SLOT):
                whole = bytearray(block)
                if any(whole) and layout.verdict(whole) is None:
                    if whole[layout.AT_RING : layout.AT_RING + 4].hex() != ring:
                        raise BadUsage(
                            f"{path} is of another card",
                            "the logger has another card in it, or its ring files were made anew",
                            "give another folder with -o: one folder for each card",
                        )
                    break
