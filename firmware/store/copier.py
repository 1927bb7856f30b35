"""Marked pulls into their own ring: verbatim copies of the drive's blocks, a few at a time beside the recording."""

from shared_math import layout, ticks
from shared_math.compat import const, zeros

BEFORE_S = 5
AFTER_S = 3
_INDEXED = const(128)  # blocks whose first row is remembered, to find where 5 s ago was


class PullCopier:
    """writer: the DriveWriter. place: see store/card.py."""

    def __init__(self, writer, place, rate_hz):
        self.writer = writer
        self.file = place.pulls
        self.slot = place.pulls_slot  # of the next copy
        self.rate_hz = rate_hz
        self.first_rows = zeros(_INDEXED)
        self.oldest = writer.sequence  # no block of this session is older
        self.active = False
        self.next = writer.sequence  # sequence to be copied next
        self._setup_wanted = False
        self.until_row = -1  # copy blocks that start up to here; -1: no end known yet
        self._block = bytearray(layout.SLOT)

    def bind(self, place, same_ring):
        """Go on in these files: an open pull is copied on from what the drive ring still holds of it."""
        self.file = place.pulls
        self.slot = place.pulls_slot
        if not same_ring:
            self.oldest = self.next = self.writer.sequence
        if self.active:
            self._setup_wanted = True

    def wrote(self, before, first_row):
        """The writer has appended blocks from sequence `before` on; first_row: of the rows they hold or stand among."""
        while before != self.writer.sequence:
            self.first_rows[before & (_INDEXED - 1)] = first_row
            before = (before + 1) & 0xFFFFFFFF

    def opened(self, row):
        """A marked pull began in row `row`."""
        self._setup_wanted = True
        if not self.active:
            start = self._block_before(row - BEFORE_S * self.rate_hz)
            if ticks.seq_after(start, self.next):
                self.next = start
            self.active = True
        self.until_row = -1

    def closed(self, row):
        """The pull ended in row `row`."""
        if self.active:
            self.until_row = row + AFTER_S * self.rate_hz

    def flagged(self, row):
        """A flag was given in row `row`: its block tells of a pull copied before."""
        if not self.active:
            if ticks.seq_after(self.writer.sequence, self.next):
                self.next = self.writer.sequence
            self.active = True
            self.until_row = row
        elif 0 <= self.until_row < row:
            self.until_row = row

    def wants(self, first_row):
        """Whether a block that starts in row `first_row` is to be copied."""
        return self.active and (self.until_row < 0 or first_row <= self.until_row)

    def step(self, most):
        """Copy up to `most` blocks; True when there is more to copy now."""
        while self.active and self.next != self.writer.sequence:
            if self.until_row >= 0 and self.first_rows[self.next & (_INDEXED - 1)] > self.until_row:
                self.active = False
                return False
            if most == 0:
                return True
            try:
                if self._setup_wanted:
                    self._copy_setup()
                    self._setup_wanted = False
                self._copy(self.next)
            except OSError:
                self.writer.dead = True
                return True
            self.next = (self.next + 1) & 0xFFFFFFFF
            most -= 1
        return False

    def _block_before(self, row):
        """Sequence of the newest block that starts at or before `row`, or of the oldest remembered."""
        sequence = self.writer.sequence
        back = min(_INDEXED - 1, (sequence - self.oldest) & 0xFFFFFFFF)
        for n in range(1, back + 1):
            at = (sequence - n) & 0xFFFFFFFF
            if self.first_rows[at & (_INDEXED - 1)] <= row:
                return at
        return (sequence - back) & 0xFFFFFFFF

    def _copy_setup(self):
        for part in range(self.writer.setup_parts):
            self._copy((self.writer.setup_sequence + part) & 0xFFFFFFFF)

    def _copy(self, sequence):
        block = self._block
        self.writer.file.read(self.writer.slot_of(sequence), block)
        if layout.verdict(block) is not None or layout.get32(block, layout.AT_SEQUENCE) != sequence:
            return  # damaged since it was written: a copy would be no better
        self.file.write(self.slot, block)
        self.slot = (self.slot + 1) % self.file.slots
