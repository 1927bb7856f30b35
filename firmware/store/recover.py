"""Find the newest block of a ring after a power cut, with few reads, in spite of damaged slots.

In the present lap every row block has a higher sequence than the lap's first one; behind the newest block stand
blocks of the lap before, or slots never written. That border is found by halving.
"""

from shared_math import layout, ticks

REACH = 9  # slots looked at beyond a probe: damage comes in runs of up to 8


class Newest:
    """What recovery found: `slot` and `sequence` of the newest block, `session`, `ring_id` (bytes). `reads` counts."""

    def __init__(self):
        self.slot = -1
        self.sequence = 0
        self.session = 0
        self.ring_id = None
        self.reads = 0

    def take(self, slot, block):
        """`block` at `slot` is the newest so far."""
        self.slot = slot
        self.sequence = layout.get32(block, layout.AT_SEQUENCE)
        self.session = layout.get16(block, layout.AT_SESSION)


class _Probe:
    def __init__(self, file, block, found):
        self.file = file
        self.block = block
        self.found = found

    def usable(self, slot):
        """Whether the slot holds an undamaged block of this ring; it is then in self.block."""
        self.found.reads += 1
        self.file.read(slot, self.block)
        if layout.verdict(self.block) is not None:
            return False
        ring_id = self.found.ring_id
        if ring_id is None:
            self.found.ring_id = bytes(self.block[layout.AT_RING : layout.AT_RING + 4])
            return True
        return ring_id == self.block[layout.AT_RING : layout.AT_RING + 4]

    def rows_from(self, slot, reach):
        """First slot from `slot` within `reach` with a usable row block, or -1."""
        for at in range(slot, min(slot + reach, self.file.slots)):
            if self.usable(at) and self.block[layout.AT_KIND] in (layout.PACKED, layout.PLAIN):
                return at
        return -1


def newest(file, block, ring_id=None, reach=REACH):
    """The newest block of the ring in `file`; `.slot` is -1 in a file without any usable block.

    file: a store. block: bytearray of 512 to work in. ring_id: take this ring's blocks only. reach: slots that may
    lie between two row blocks (damage, setup copies).
    """
    found = Newest()
    found.ring_id = ring_id
    probe = _Probe(file, block, found)
    first = -1
    for slot in range(min(reach, file.slots)):
        if probe.usable(slot):
            found.take(slot, block)
            if block[layout.AT_KIND] in (layout.PACKED, layout.PLAIN):
                first = slot
                break
    if first < 0:
        # A young file: birth and setup only. The last of them is the newest
        return found
    first_sequence = found.sequence
    low = first
    high = file.slots
    while high - low > 1:
        middle = (low + high) // 2
        at = probe.rows_from(middle, min(reach, high - middle))
        if at >= 0 and ticks.seq_after(layout.get32(block, layout.AT_SEQUENCE), first_sequence):
            found.take(at, block)
            low = at
        else:
            high = middle
    # Setup and health blocks may follow the last row block
    newest_sequence = found.sequence
    for slot in range(found.slot + 1, min(found.slot + reach, file.slots)):
        if probe.usable(slot) and ticks.seq_after(layout.get32(block, layout.AT_SEQUENCE), newest_sequence):
            found.take(slot, block)
            newest_sequence = found.sequence
    return found
