"""The search for the newest block in a small ring, slot by slot. Runs under MicroPython."""

from shared_math import layout
from store import recover

SLOTS = 64
RING = b"ring"


class FakeStore:
    """Row blocks of the present lap up to slot `head`, of the lap before behind it; slots in `bad` are damaged, the
    card can't read those in `unreadable`."""

    def __init__(self, head, bad=(), slots=SLOTS, unreadable=()):
        self.head = head
        self.bad = bad
        self.slots = slots
        self.unreadable = unreadable
        self.reads = 0

    def read(self, slot, block):
        assert 0 <= slot < self.slots
        self.reads += 1
        if slot in self.unreadable:
            raise OSError(5)
        layout.start_block(block, layout.PACKED, RING)
        layout.put32(block, layout.AT_SEQUENCE, 1000 + slot - (self.slots if slot > self.head else 0))
        layout.seal(block, memoryview(block)[: layout.AT_CRC])
        if slot in self.bad:
            block[100] ^= 1


def newest(head, bad=(), **more):
    store = FakeStore(head, bad, **more)
    found = recover.newest(store, bytearray(layout.SLOT))
    assert found.reads == store.reads
    return found.slot


def test_every_head_is_found():
    for head in range(SLOTS):
        assert newest(head) == head


def test_two_damaged_runs_do_not_hide_what_stands_above_them():
    """Half of the ring is slot 32; where 32 and the one 8 further are both damaged, the lap seems to end before 32. The
    slots between are looked at, and from there the search goes on above."""
    for bad in ((32, 40), (28, 29, 30, 31, 32, 40, 41, 42)):
        for head in range(bad[-1] + 1, SLOTS):
            assert newest(head, bad) == head, (head, bad)


def test_a_damaged_beginning_hides_nothing():
    """The first 81 of 200 slots: the present lap is then told by its lowest block that is left."""
    for head in range(81, 200):
        assert newest(head, range(81), slots=200) == head


def test_one_block_among_damage_is_found_and_what_follows_it():
    """Slots looked at by halving are 72 + 2 n: 197 and 199 are met only slot by slot."""
    bad = [slot for slot in range(200) if slot not in (197, 199)]
    assert newest(199, bad, slots=200) == 199


def test_thirty_two_slots_may_be_unreadable():
    """Odd ones from 73 on, each read once, before the only usable slot. One more, and it is not a few bad sectors."""
    for count in (32, 33):
        unreadable = range(73, 73 + 2 * count, 2)
        bad = [slot for slot in range(199) if slot not in unreadable]
        try:
            assert newest(199, bad, slots=200, unreadable=unreadable) == 199 and count == 32
        except OSError:
            assert count == 33


def test_where_most_reads_fail_the_card_is_at_fault():
    """78 damaged slots cost 27 reads: of 0 to 9, of every eighth from 17 to 65, then of 75, 73, 75 and 77, and of 72
    to 77. Of these 13 may fail."""
    once = list(range(10)) + list(range(17, 72, 8))
    for count in (13, 14):
        store = FakeStore(77, range(78), slots=78, unreadable=once[:count])
        try:
            found = recover.newest(store, bytearray(layout.SLOT))
            assert (found.slot, found.reads, found.damaged) == (-1, 27, True) and count == 13
        except OSError:
            assert count == 14
