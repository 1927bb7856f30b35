"""Finished blocks wait here while the card can't take them: the newest are kept, the rest are counted as lost rows."""

from shared_math import layout
from shared_math.compat import const

BLOCKS = const(24)  # 12 kB: 6 to 8 s of six channels at 200 rows a second
PIECE = const(8)  # blocks in one piece of memory: a heap in use has no room for all of them side by side


class Outbox:
    """A fixed ring of blocks, several side by side, so that they can be written at once. `dropped` counts the rows
    thrown away, `kept_dropped` those of them that belong into pulls.rpl."""

    def __init__(self):
        self.pieces = [memoryview(bytearray(PIECE * layout.SLOT)) for _ in range(BLOCKS // PIECE)]
        self.room = [piece[n * layout.SLOT : (n + 1) * layout.SLOT] for piece in self.pieces for n in range(PIECE)]
        self.first = 0
        self.held = 0
        self.dropped = 0
        self.kept_dropped = 0

    def at(self, number):
        """The block that is to be written after `number` others."""
        return self.room[(self.first + number) % BLOCKS]

    def oldest(self):
        """The block that is to be written next."""
        return self.room[self.first]

    def run(self, most):
        """Up to `most` of the oldest blocks, as many as lie side by side: one memoryview."""
        at = self.first % PIECE
        count = min(self.held, most, PIECE - at)
        if count == 1:
            return self.room[self.first]
        return self.pieces[self.first // PIECE][at * layout.SLOT : (at + count) * layout.SLOT]

    def taken(self, count=1):
        """The `count` oldest blocks are on the card."""
        self.first = (self.first + count) % BLOCKS
        self.held -= count

    def next(self):
        """A buffer for a new block; the oldest one is dropped when there is no other room."""
        if self.held == BLOCKS:  # here and not deeper: a small board's stack may have little room left
            block = self.oldest()
            rows = layout.get16(block, layout.AT_ROWS)
            if rows & layout.KEPT:
                rows &= layout.ROWS_MASK
                self.kept_dropped += rows
            lost = rows + layout.get16(block, layout.AT_LOST)
            self.dropped += rows
            self.taken()
            after = self.oldest()
            lost += layout.get16(after, layout.AT_LOST)
            layout.put16(after, layout.AT_LOST, lost if lost < 0xFFFF else 0xFFFF)
        return self.at(self.held)

    def add(self):
        """The buffer that `next` gave now holds a block."""
        self.held += 1
