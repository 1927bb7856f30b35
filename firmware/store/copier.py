"""Marked pulls into their own ring: verbatim copies of the drive's blocks, a few at a time beside the recording."""

from shared_math import layout, ticks
from shared_math.compat import const, zeros

BEFORE_S = 5
AFTER_S = 3
_AT_ONCE = const(4)  # blocks in one write
_INDEXED = const(128)  # blocks whose first row is remembered, to find where 5 s ago was
_SPARSE = const(16)  # of older blocks, which many channels at a high rate need, one in so many is
_SPARSE_KEPT = const(64)
_REFUSALS = const(3)  # of the same copy by a card that goes on taking the drive's blocks: then it is left


class PullCopier:
    """writer: the DriveWriter. place: see store/card.py."""

    def __init__(self, writer, place, rate_hz):
        self.writer = writer
        self.file = place.pulls
        self.slot = place.pulls_slot  # of the next copy
        self.rate_hz = rate_hz
        self.first_rows = zeros(_INDEXED)
        self.sparse_rows = zeros(_SPARSE_KEPT)
        self.oldest = writer.sequence  # no block of this session is older
        self.active = False
        self.began = -1  # slot from which on the last pull's copies stand; -1: none in these files since the start
        self.next = writer.sequence  # sequence to be copied next
        self._setup_part = -1  # of the setup group: the next one to be copied; -1: none
        self.until_row = -1  # copy blocks that start up to here; -1: no end known yet
        self.refusals = 0  # of the copy that is due
        self.refused_at = -1  # the drive's sequence at the last one
        self.unkept = False  # some of the last pull is not in pulls.rpl: the card refused it
        self._whole = memoryview(bytearray(_AT_ONCE * layout.SLOT))
        self._room = [self._whole[n * layout.SLOT : (n + 1) * layout.SLOT] for n in range(_AT_ONCE)]

    def bind(self, place, same_ring):
        """Go on in these files: an open pull is copied on from what the drive ring still holds of it."""
        self.file = place.pulls
        self.slot = place.pulls_slot
        if not same_ring:
            self.began = self.slot if self.active else -1
        out = self.writer
        if not same_ring or place.last.session != out.session:
            self.oldest = self.next = out.sequence
        else:
            # A card may have said yes to its last writes and not have kept them
            again = (place.last_pull.sequence + 1) & 0xFFFFFFFF
            if place.last_pull.first_row >= 0 and 0 < (self.next - again) & 0xFFFFFFFF <= _AT_ONCE:
                self.next = again
            if ticks.seq_after(self.next, out.sequence):
                self.next = out.sequence
        if self.active:
            self._setup_part = 0

    def wrote(self, before, first_row):
        """The writer has appended blocks from sequence `before` on; first_row: of the rows they hold or stand among."""
        while before != self.writer.sequence:
            self.first_rows[before & (_INDEXED - 1)] = first_row
            if not before & (_SPARSE - 1):
                self.sparse_rows[before // _SPARSE & (_SPARSE_KEPT - 1)] = first_row
            before = (before + 1) & 0xFFFFFFFF

    def opened(self, row):
        """A marked pull began in row `row`."""
        self._setup_part = 0
        self.unkept = False
        if not self.active:
            start = self._block_before(row - BEFORE_S * self.rate_hz)
            if ticks.seq_after(start, self.next):
                self.next = start
            self.active = True
            self.began = self.slot
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

    def step(self):
        """Copy some blocks with one write; True when there is more to copy now."""
        if not self._more():
            return False
        began, began_part = self.next, self._setup_part
        room = min(_AT_ONCE - self.slot % _AT_ONCE, self.file.slots - self.slot)
        if self.refusals:
            room = 1  # whatever is refused takes nothing else with it
        count = 0
        reads = True
        try:
            while count < room and self._more():
                count += self._take(self._room[count])
            reads = False
            if count:
                self.file.write(self.slot, self._whole[: count * layout.SLOT])
        except OSError as error:
            if not self._leaves(reads):
                self.next, self._setup_part = began, began_part
            self.writer.fell(error)
            return True
        self.refusals = 0
        self.slot = (self.slot + count) % self.file.slots
        return self._more()

    def _leaves(self, reads):
        """The card refused a copy, or did not give what is to be copied. Whether that is left now: a block that can't
        be read, or the whole pull where pulls.rpl can't be written. It stays in the drive ring."""
        if self.refused_at != self.writer.sequence:  # else the card took nothing at all since
            self.refused_at = self.writer.sequence
            self.refusals += 1
        if self.refusals < _REFUSALS:
            return False
        self.refusals = 0
        self.unkept = True
        if not reads:
            self.active = False
            self._setup_part = -1
        return True

    def _more(self):
        if not self.active or self.next == self.writer.sequence:
            return False
        remembered = (self.writer.sequence - self.next) & 0xFFFFFFFF <= _INDEXED
        if self.until_row >= 0 and remembered and self.first_rows[self.next & (_INDEXED - 1)] > self.until_row:
            self.active = False
            return False
        return True

    def _take(self, block):
        """Read what is to be copied next. 0 where it was damaged since it was written: a copy would be no better."""
        if self._setup_part >= 0:
            sequence = (self.writer.setup_sequence + self._setup_part) & 0xFFFFFFFF
            self._setup_part += 1
            if self._setup_part == self.writer.setup_parts:
                self._setup_part = -1
        else:
            sequence = self.next
            self.next = (self.next + 1) & 0xFFFFFFFF
        self.writer.file.read(self.writer.slot_of(sequence), block)
        return 1 if layout.verdict(block) is None and layout.get32(block, layout.AT_SEQUENCE) == sequence else 0

    def _block_before(self, row):
        """Sequence of the newest block that starts at or before `row`, or of the oldest remembered."""
        sequence = self.writer.sequence
        written = (sequence - self.oldest) & 0xFFFFFFFF
        back = min(_INDEXED - 1, written)
        for n in range(1, back + 1):
            at = (sequence - n) & 0xFFFFFFFF
            if self.first_rows[at & (_INDEXED - 1)] <= row:
                return at
        back += (sequence - back) & (_SPARSE - 1)
        while back <= written and back <= _SPARSE * (_SPARSE_KEPT - 1):
            at = (sequence - back) & 0xFFFFFFFF
            if self.sparse_rows[at // _SPARSE & (_SPARSE_KEPT - 1)] <= row:
                return at
            back += _SPARSE
        return self.oldest if back > written else (sequence - back + _SPARSE) & 0xFFFFFFFF
