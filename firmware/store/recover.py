"""Find the newest block of a ring after a power cut, with few reads, in spite of damaged slots.

A ring is written from slot 0 on: what stands lowest is of the present lap, and of the newest ring where the file held
another before. In the present lap every block has a higher sequence than the lap's first one (in pulls.rpl every row
block: setup copies are older); behind the newest block stand blocks of the lap before, or slots never written. That
border is found by halving. Damage often comes in runs of up to 8 slots, so a slot and the one 8 further are not both in
one run; runs of up to 64 are stepped over.
"""

import errnos
from shared_math import layout, ticks
from shared_math.compat import const

_RUN = const(8)
_LONG = const(64)
_SCATTERED = const(32)  # places looked at by halving, before every slot is
_ERRORS = const(32)  # slots that can't be read, after which it is not a few bad sectors


class Newest:
    """What recovery found: `slot` and `sequence` of the newest block, `session`, `ring_id` (bytes). `reads` counts.

    `first_row` is -1 where the newest block holds no rows. `damaged`: a slot looked at held something unusable.
    """

    def __init__(self):
        self.slot = -1
        self.sequence = 0
        self.session = 0
        self.first_row = -1
        self.newer_version = False
        self.damaged = False
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
        self.verdict = None  # of the slot just read
        self.errors = 0

    def usable(self, slot):
        """Whether the slot holds an undamaged block of this ring; it is then in self.block."""
        found = self.found
        found.reads += 1
        try:
            self.file.read(slot, self.block)
        except OSError:
            self.errors += 1  # a bad sector, unless it goes on like this
            if self.errors > _ERRORS:
                raise
            found.damaged = True
            self.verdict = "damaged"
            return False
        verdict = self.verdict = layout.verdict(self.block)
        if verdict is not None:
            if verdict == "newer version":
                found.newer_version = True
            elif verdict != "empty":
                found.damaged = True
            return False
        ring_id = bytes(self.block[layout.AT_RING : layout.AT_RING + 4])
        if found.ring_id is None:
            found.ring_id = ring_id  # pyright: ignore[reportAttributeAccessIssue]
        return ring_id == found.ring_id

    def is_rows(self):
        """Whether the block just read may be compared by its sequence."""
        return not self.rows_only or self.block[layout.AT_KIND] in (layout.PACKED, layout.PLAIN)

    def compares(self, slot):
        """Whether the slot holds the ring's first block to compare with; it is then the newest so far."""
        if not self.usable(slot):
            return False
        self.found.take(slot, self.block)
        if self.is_rows():
            self.first_sequence = self.found.sequence  # pyright: ignore[reportAttributeAccessIssue]
            return True
        return False

    def anchor(self):
        """Find the first block to compare with; False where there is none."""
        file = self.file
        slot = last = 0  # last: the last usable block that does not compare
        while slot < file.slots and slot <= last + _LONG + _RUN:
            if self.compares(slot):
                return True
            if self.found.slot == slot:
                last = slot
            elif self.verdict is None:
                return False  # a block of another ring: ours never came so far
            slot += 1 if slot <= last + _RUN else _RUN
        # Something of ours: a young file, the last of its setup is the newest. Else the start is damaged further
        return self.found.slot < 0 and self._scattered(_LONG + _RUN)

    def _scattered(self, first):
        """The lowest block to compare with from slot `first` on: by halving, and where that meets none by every
        slot."""
        slots = self.file.slots
        gap = (slots - first) // 2
        left = _SCATTERED
        while gap > 0 and left > 0:
            for slot in range(first + gap, slots, 2 * gap):
                left -= 1
                if self.compares(slot):
                    return self._lowest(first, slot)
            gap //= 2
        for slot in range(first, slots):
            if self.compares(slot):
                return True
        return False

    def _lowest(self, low, high):
        """Make the lowest usable block between two slots the one to compare with; the one at `high` is usable."""
        while low < high:
            middle = (low + high) // 2
            if self.usable(middle) and self.is_rows():
                high = middle
            else:
                low = middle + 1
        self.first_sequence = None
        return self.compares(high)

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
        if self.verdict == "empty":
            return -1
        further = slot + _RUN
        if self.rows_only and self.verdict is None and self.block[layout.AT_KIND] == layout.SETUP:
            further = slot + self.block[layout.AT_PARTS] - self.block[layout.AT_PART]
        elif self.verdict is None:
            return -1  # a block of the lap before: an answer
        if further < end and self.present(further):
            return further
        return -1

    def halve(self, high):
        """Find the border below slot `high`, as far as single probes tell."""
        low = self.found.slot
        while high - low > _RUN + 1:
            middle = (low + high) // 2
            at = self.probe(middle, high)
            if at >= 0:
                low = at
            else:
                high = middle

    def creep(self):
        """Go on behind the newest block found; False at the border, True where a run of damage hid more."""
        slot = self.found.slot + 1
        stepped = False
        while slot < self.file.slots and slot <= self.found.slot + _LONG + _RUN:
            if self.present(slot):
                if stepped:
                    return True
            elif self.verdict is None and self.is_rows():
                return False  # of the lap before, or of another ring
            stepped = slot > self.found.slot + _RUN
            slot += _RUN if stepped else 1
        return False

    def above(self):
        """Whether the present lap goes on far above what was found: longer runs of damage hid it."""
        last = self.file.slots - 1
        away = last - self.found.slot
        for part in (4, 3, 2, 1):
            if away > _LONG and self.present(last - away + away * part // 4):
                return True
        return False


def newest(file, block, ring_id=None, rows_only=False):
    """The newest block of the ring in `file`; `.slot` is -1 in a file without any usable block.

    file: a store. block: bytearray of 512 to work in. ring_id: take this ring's blocks only. rows_only: compare row
    blocks alone, as pulls.rpl needs. OSError where more than a few slots can't be read.
    """
    search = _Search(file, block, ring_id, rows_only)
    there = search.anchor()
    while there:
        search.halve(file.slots)
        there = search.creep() or search.above()
    if search.errors > search.found.reads // 2:
        raise OSError(errnos.EIO)  # more than bad sectors: the card, or the file system's table
    return search.found
