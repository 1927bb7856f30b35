"""Find the newest block of a ring after a power cut, with few reads, in spite of damaged slots.

In the present lap every block has a higher sequence than the lap's first one (in pulls.rpl every row block: setup
copies are older); behind the newest block stand blocks of the lap before, or slots never written. That border is
found by halving. Damage comes in runs of up to 8 slots, so a slot and the one 8 further are not both in one run.
"""

from shared_math import layout, ticks
from shared_math.compat import const

_RUN = const(8)


class Newest:
    """What recovery found: `slot` and `sequence` of the newest block, `session`, `ring_id` (bytes). `reads` counts.

    `first_row` is -1 where the newest block holds no rows.
    """

    def __init__(self):
        self.slot = -1
        self.sequence = 0
        self.session = 0
        self.first_row = -1
        self.newer_version = False
        self.ring_id = None
        self.reads = 0

    def take(self, slot, block):
        """`block` at `slot` is the newest so far."""
        self.slot = slot
        self.sequence = layout.get32(block, layout.AT_SEQUENCE)
        self.session = layout.get16(block, layout.AT_SESSION)
        self.first_row = -1
        if block[layout.AT_KIND] in (layout.PACKED, layout.PLAIN):
            self.first_row = layout.get32(block, layout.AT_FIRST_ROW)


class _Search:
    def __init__(self, file, block, ring_id, rows_only):
        self.file = file
        self.block = block
        self.found = Newest()
        self.found.ring_id = ring_id
        self.rows_only = rows_only
        self.first_sequence = None
        self.empty = False  # the slot just read was never written

    def usable(self, slot):
        """Whether the slot holds an undamaged block of this ring; it is then in self.block."""
        found = self.found
        found.reads += 1
        self.file.read(slot, self.block)
        verdict = layout.verdict(self.block)
        self.empty = verdict == "empty"
        if verdict is not None:
            if verdict == "newer version":
                found.newer_version = True
            return False
        ring_id = bytes(self.block[layout.AT_RING : layout.AT_RING + 4])
        if found.ring_id is None:
            found.ring_id = ring_id  # pyright: ignore[reportAttributeAccessIssue]
        return ring_id == found.ring_id

    def is_rows(self):
        """Whether the block just read may be compared by its sequence."""
        return not self.rows_only or self.block[layout.AT_KIND] in (layout.PACKED, layout.PLAIN)

    def present(self, slot):
        """Whether a comparable block of the present lap stands in the slot; then it is the newest so far."""
        if not self.usable(slot) or not self.is_rows():
            return False
        if not ticks.seq_after(layout.get32(self.block, layout.AT_SEQUENCE), self.first_sequence):
            return False
        if slot > self.found.slot:
            self.found.take(slot, self.block)
        return True

    def probe(self, slot, end):
        """A slot from `slot` on, before `end`, with a block of the present lap, or -1."""
        if self.present(slot):
            return slot
        if self.empty:
            return -1
        further = slot + _RUN
        if self.rows_only and layout.verdict(self.block) is None and self.block[layout.AT_KIND] == layout.SETUP:
            further = slot + self.block[layout.AT_PARTS] - self.block[layout.AT_PART]
        elif layout.verdict(self.block) is None:
            return -1  # a block of the lap before: an answer
        if further < end and self.present(further):
            return further
        return -1


def newest(file, block, ring_id=None, rows_only=False):
    """The newest block of the ring in `file`; `.slot` is -1 in a file without any usable block at its start.

    file: a store. block: bytearray of 512 to work in. ring_id: take this ring's blocks only. rows_only: compare row
    blocks alone, as pulls.rpl needs.
    """
    search = _Search(file, block, ring_id, rows_only)
    found = search.found
    slot = 0
    end = _RUN + 1  # slots looked at for a first block; each setup block found carries it further
    while slot < min(end, file.slots):
        if search.usable(slot):
            found.take(slot, block)
            if search.is_rows():
                search.first_sequence = found.sequence  # pyright: ignore[reportAttributeAccessIssue]
                break
            end = slot + _RUN + 2
        slot += 1
    if search.first_sequence is None:
        return found  # a young file: birth and setup only, the last of them is the newest
    high = file.slots
    while True:
        low = found.slot
        while high - low > _RUN + 1:
            middle = (low + high) // 2
            at = search.probe(middle, high)
            if at >= 0:
                low = at
            else:
                high = middle
        slot = low + 1
        while slot < file.slots and slot <= found.slot + _RUN + 1 and slot <= high + _RUN:
            search.present(slot)
            slot += 1
        if found.slot < high or high == file.slots:
            break
        high = file.slots  # two damaged runs hid the present lap: go on above
    return found
