"""The search for the newest block in a small ring, slot by slot. Runs under MicroPython."""

from shared_math import layout
from store import recover

SLOTS = 64
RING = b"ring"


class FakeStore:
    """Row blocks of the present lap up to slot `head`, of the lap before behind it; slots in `bad` are damaged."""

    slots = SLOTS

    def __init__(self, head, bad=()):
        self.head = head
        self.bad = bad

    def read(self, slot, block):
        layout.start_block(block, layout.PACKED, RING)
        layout.put32(block, layout.AT_SEQUENCE, 1000 + slot - (SLOTS if slot > self.head else 0))
        layout.seal(block, memoryview(block)[: layout.AT_CRC])
        if slot in self.bad:
            block[100] ^= 1


def newest(head, bad=()):
    return recover.newest(FakeStore(head, bad), bytearray(layout.SLOT)).slot


def test_every_head_is_found():
    for head in range(SLOTS):
        assert newest(head) == head


def test_two_damaged_runs_do_not_hide_what_stands_above_them():
    """Half of the ring is slot 32; where 32 and the one 8 further are both damaged, the lap seems to end before 32. The
    slots between are looked at, and from there the search goes on above."""
    for bad in ((32, 40), (28, 29, 30, 31, 32, 40, 41, 42)):
        for head in range(bad[-1] + 1, SLOTS):
            assert newest(head, bad) == head, (head, bad)
