"""Where writing goes on at a start, on ring files in memory. Runs under MicroPython."""

import gc

from shared_math import layout
from store import card

RING = b"ring"


class Store:
    def __init__(self, slots):
        self.slots = slots
        self.blocks = {}

    def read(self, slot, block):
        block[:] = self.blocks.get(slot, bytes(layout.SLOT))

    def write(self, slot, block):
        self.blocks[slot] = bytes(block)

    def for_search(self):
        return self


class Medium:
    def __init__(self):
        self.stores = {}
        self.kept = []

    def exists(self, name):
        return name in self.stores

    def make(self, name, slots, first_block):
        self.stores[name] = Store(slots)
        self.stores[name].write(0, first_block)

    def open(self, name, slots):
        return self.stores[name]

    def keep(self, name):
        self.kept.append((name, self.stores.pop(name)))


def rows(sequence, session=1, ring=RING, first_row=0, version=layout.VERSION):
    block = bytearray(layout.SLOT)
    layout.start_block(block, layout.PACKED, ring)
    block[layout.AT_VERSION] = version
    layout.put32(block, layout.AT_SEQUENCE, sequence & 0xFFFFFFFF)
    layout.put16(block, layout.AT_SESSION, session)
    layout.put32(block, layout.AT_FIRST_ROW, first_row)
    layout.put16(block, layout.AT_ROWS, 1)
    layout.seal(block, memoryview(block)[: layout.AT_CRC])
    return block


def medium(drive=(), pulls=(), slots=100, pulls_slots=64, first=0):
    """Both rings from their births on. drive, pulls: blocks from slot 1 on. first: sequence of the drive's birth."""
    made = Medium()
    made.make("drive", slots, layout.birth(RING, layout.DRIVE_FILE, slots, first & 0xFFFFFFFF))
    made.make("pulls", pulls_slots, layout.birth(RING, layout.PULLS_FILE, pulls_slots, 0xFFFFFFFF))
    for name, blocks in (("drive", drive), ("pulls", pulls)):
        for at, block in enumerate(blocks):
            made.stores[name].write(1 + at, block)
    return made


def opened(of):
    out = card.Card(of, 100, 64, lambda count: b"new!"[:count])
    out.open()
    return out


def state(of):
    at = opened(of)
    return at.sequence, at.drive_slot, at.pulls_slot, at.session


def test_a_new_card():
    made = Medium()
    at = opened(made)
    assert at.made_new and at.ring_id == b"new!" and not made.kept and not at.unkept
    assert (at.sequence, at.drive_slot, at.pulls_slot, at.session) == (1, 1, 1, 1)
    assert made.stores["drive"].blocks == {0: bytes(layout.birth(b"new!", layout.DRIVE_FILE, 100, 0))}
    assert made.stores["pulls"].blocks == {0: bytes(layout.birth(b"new!", layout.PULLS_FILE, 64, 0xFFFFFFFF))}
    assert (at.last.slot, at.last_pull.slot) == (-1, -1) and not at.unusable


def test_behind_the_newest_block():
    drive = [rows(n) for n in range(1, 11)]
    assert state(medium(drive)) == (11, 11, 1, 2)
    assert state(medium(drive, [rows(5), rows(6)])) == (11, 11, 3, 2)
    at = opened(medium(drive))
    assert not at.made_new and not at.unusable
    del at
    gc.collect()
    # One block after the other: twice as many would not fit beside the modules
    assert state(medium(rows(n) for n in range(1, 100))) == (100, 0, 1, 2)
    gc.collect()
    assert state(medium(drive, (rows(n, first_row=1) for n in range(-60, 3)))) == (11, 11, 0, 2)
    assert state(medium([], first=0xFFFFFFFF)) == (0, 1, 1, 1)  # a birth alone: no session yet


def test_sessions_and_sequences_come_round():
    for session, following in ((65534, 65535), (65535, 1), (1, 2)):
        assert state(medium([rows(1, session)]))[3] == following
    assert state(medium([rows(-3 + n) for n in range(4)], first=-4)) == (1, 5, 1, 2)


def test_copies_that_are_newer_than_the_drives_newest_block():
    """The drive's blocks behind slot 10, sequence 10, are damaged; pulls.rpl holds up to sequence 14 of session 3."""
    drive = [rows(n, 2) for n in range(1, 11)]
    pulls = [rows(n, 3) for n in range(12, 15)]
    assert state(medium(drive, pulls)) == (15, 15, 4, 4)
    assert state(medium([rows(n, 2) for n in range(1, 97)], [rows(n, 3) for n in range(98, 103)])) == (103, 3, 6, 4)
    assert state(medium(drive, [rows(9, 2, first_row=7)])) == (11, 11, 2, 3)


def test_pulls_of_another_ring_are_kept_and_empty_ones_begun_anew():
    drive = [rows(n) for n in range(1, 11)]
    other = medium(drive, [rows(5, ring=b"else")])
    other.stores["pulls"].write(0, layout.birth(b"else", layout.PULLS_FILE, 64, 0xFFFFFFFF))
    assert state(other) == (11, 11, 1, 2) and [name for name, _ in other.kept] == ["pulls"]
    assert opened(other).last_pull.slot == 0
    newer = medium(drive)
    for slot in range(12):
        newer.stores["pulls"].write(slot, rows(slot, version=2))
    assert state(newer) == (11, 11, 1, 2) and [name for name, _ in newer.kept] == ["pulls"]
    empty = medium(drive)
    empty.stores["pulls"] = Store(80)
    at = opened(empty)
    assert not empty.kept and at.pulls.slots == 80 and at.pulls_slot == 1 and at.ring_id == RING
    assert at.pulls.blocks == {0: bytes(layout.birth(RING, layout.PULLS_FILE, 80, 0xFFFFFFFF))}
    for slots, kept in ((63, ["pulls"]), (64, [])):  # fewer were clipped by something
        small = medium(drive)
        small.stores["pulls"] = Store(slots)
        opened(small)
        assert [name for name, _ in small.kept] == kept


def test_a_drive_without_a_usable_block():
    newer = Medium()
    newer.stores["drive"] = Store(100)
    for slot in range(12):
        newer.stores["drive"].write(slot, rows(slot, version=2))
    at = opened(newer)
    assert at.made_new and at.unusable and [name for name, _ in newer.kept] == ["drive"]
    damaged = Medium()
    damaged.stores["drive"] = Store(100)
    for slot in range(12):
        damaged.stores["drive"].write(slot, b"\xa5" * layout.SLOT)
    at = opened(damaged)
    assert at.made_new and at.unusable and not damaged.kept
    empty = Medium()
    empty.stores["drive"] = Store(200)
    at = opened(empty)
    assert at.made_new and not at.unusable and not empty.kept and at.drive.slots == 200
    foreign = medium((), [rows(5)])
    foreign.stores["drive"] = Store(100)
    assert opened(foreign).made_new and [name for name, _ in foreign.kept] == ["pulls"]
