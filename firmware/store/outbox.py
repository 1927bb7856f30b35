"""Finished blocks wait here while the card can't take them: the newest are kept, the rest are counted as lost rows."""

from shared_math import layout
from shared_math.compat import const

BLOCKS = const(24)  # 12 kB: 6 to 8 s of six channels at 200 rows a second


class Outbox:
    """A fixed ring of blocks. `dropped` counts the rows thrown away."""

    def __init__(self):
        self.room = [bytearray(layout.SLOT) for _ in range(BLOCKS)]
        self.first = 0
        self.held = 0
        self.dropped = 0

    def oldest(self):
        """The block that is to be written next."""
        return self.room[self.first]

    def taken(self):
        """The oldest block is on the card."""
        self.first = (self.first + 1) % BLOCKS
        self.held -= 1

    def next(self):
        """A buffer for a new block; the oldest one is dropped when there is no other room."""
        if self.held == BLOCKS:
            self._drop()
        return self.room[(self.first + self.held) % BLOCKS]

    def add(self):
        """The buffer that `next` gave now holds a block."""
        self.held += 1

    def _drop(self):
        block = self.oldest()
        rows = layout.get16(block, layout.AT_ROWS) & layout.ROWS_MASK
        lost = rows + layout.get16(block, layout.AT_LOST)
        self.dropped += rows
        self.taken()
        after = self.oldest()
        lost += layout.get16(after, layout.AT_LOST)
        layout.put16(after, layout.AT_LOST, lost if lost < 0xFFFF else 0xFFFF)
