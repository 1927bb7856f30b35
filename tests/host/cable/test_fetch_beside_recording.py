"""Fetching while the logger writes on: what it writes between two questions does not look like an older lap."""

import pytest

from ringpull.cable import fetch
from shared_math import cable, layout

RING = "0a0b0c0d"
SLOTS = 64


def block(sequence):
    out = bytearray(layout.SLOT)
    layout.start_block(out, layout.PACKED, bytes.fromhex(RING))
    layout.put32(out, layout.AT_SEQUENCE, sequence)
    layout.seal(out, memoryview(out)[: layout.AT_CRC])
    return bytes(out)


class Writing:
    """A logger that has written `written` blocks, and writes another before each of the first `busy` answers."""

    def __init__(self, written, busy):
        self.slots = [bytes(layout.SLOT)] * SLOTS
        self.written = 0
        self.busy = busy
        for _ in range(written):
            self._write()

    def _write(self):
        self.slots[self.written % SLOTS] = block(self.written)
        self.written += 1

    def _between(self):
        if self.busy:
            self.busy -= 1
            self._write()

    def state(self):
        self._between()
        end = (SLOTS, self.written % SLOTS, self.written)
        return {"drive": end, "pulls": (SLOTS, end[1], -1)}

    def send(self, _verb, _which, slot, _count):
        self._between()
        self.slot = int(slot)

    def answer(self):
        return [cable.BLOCKS, str(self.slot)], self.slots[self.slot]


@pytest.mark.parametrize("which", [cable.DRIVE_FILE, cable.PULLS_FILE])
@pytest.mark.parametrize(("written", "wrapped"), [(10, False), (SLOTS - 8, False), (SLOTS + 10, True)])
@pytest.mark.parametrize("busy", range(6))
def test_a_file_is_taken_as_full_only_where_an_old_block_stands_next(which, written, wrapped, busy):
    link = Writing(written, busy)
    slots, end, _ = link.state()["drive"]
    place = fetch.Place(which, slots, end, None)
    assert fetch._wrapped(link, place, RING) == wrapped
