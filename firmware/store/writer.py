"""Blocks into the drive ring: sequence, session, setup repeats, and what waits while the card does not answer."""

from shared_math import layout
from store import outbox

_SEQUENCE_MASK = 0xFFFFFFFF


class DriveWriter:
    """Writes blocks to the ring. setup: the setup text (bytes) of this session. place: see store/card.py.

    `wrote(before, first_row)` is called after blocks from sequence `before` on were written.
    """

    def __init__(self, place, setup):
        self.setup = setup
        self.setup_parts = (len(setup) + layout.PAYLOAD - 1) // layout.PAYLOAD
        self.outbox = outbox.Outbox()
        self.wrote = None
        self.dead = False  # the card did not take a block: `bind` it, or another one, anew
        self._block = bytearray(layout.SLOT)
        self.bind(place)

    def bind(self, place, same_ring=False):
        """Go on in these files; rows that wait are written after a setup group. same_ring: they hold this session."""
        if same_ring and place.last.session == self.session:
            place.session = self.session
            box = self.outbox
            if box.held and place.last.first_row == layout.get32(box.oldest(), layout.AT_FIRST_ROW):
                box.taken()  # the card had taken it before it fell silent
        self.file = place.drive
        self.ring_id = place.ring_id
        self.sequence = place.sequence  # of the next block
        self.slot = place.drive_slot  # of the next block
        self.session = place.session
        self.setup_sequence = self.sequence
        # A ring of a few slots must not lose its setup before the next one
        self.setup_every = min(layout.SETUP_EVERY, self.file.slots // 4)
        self.since_setup = layout.SETUP_EVERY  # none in this file yet
        self.dead = False

    def start_rows(self):
        """A cleared row block, to be filled and handed back by `add_rows`."""
        block = self.outbox.next()
        layout.start_block(block, layout.PACKED, self.ring_id)
        return block

    def add_rows(self):
        """The block of `start_rows` is filled: write it and whatever waits; a dead card leaves them waiting."""
        self.outbox.add()
        self.flush()

    def flush(self):
        """Write what waits. True when nothing is left."""
        box = self.outbox
        while box.held and not self.dead:
            block = box.oldest()
            first_row = layout.get32(block, layout.AT_FIRST_ROW)
            if self.since_setup + self.setup_parts >= self.setup_every and not self.write_setup(first_row):
                break
            if self._write(block, first_row):
                box.taken()
        return not self.dead

    def write_setup(self, first_row):
        """Write the setup group among the rows from `first_row` on. False when the card did not take it."""
        text = self.setup
        start = self.sequence
        for part in range(self.setup_parts):
            piece = text[part * layout.PAYLOAD : (part + 1) * layout.PAYLOAD]
            if not self._write_text(layout.SETUP, piece, part, self.setup_parts, first_row):
                return False
        self.setup_sequence = start
        self.since_setup = 0
        return True

    def write_health(self, text, first_row):
        """Write a health block; text: JSON bytes of at most layout.PAYLOAD. Left out while the card is dead."""
        if not self.dead and not self.outbox.held:
            self._write_text(layout.HEALTH, text, 0, 1, first_row)

    def slot_of(self, sequence):
        """The slot where the block with this sequence stands."""
        back = (self.sequence - sequence) & _SEQUENCE_MASK
        return (self.slot - back) % self.file.slots

    def _write_text(self, kind, piece, part, parts, first_row):
        block = self._block
        layout.start_block(block, kind, self.ring_id)
        layout.put16(block, layout.AT_LENGTH, len(piece))
        block[layout.AT_PART] = part
        block[layout.AT_PARTS] = parts
        block[layout.AT_PAYLOAD : layout.AT_PAYLOAD + len(piece)] = piece
        return self._write(block, first_row)

    def _write(self, block, first_row):
        """Number, seal and write a block. Only a block that was taken has used its number."""
        for at in range(4):
            block[layout.AT_RING + at] = self.ring_id[at]
        layout.put32(block, layout.AT_SEQUENCE, self.sequence)
        layout.put16(block, layout.AT_SESSION, self.session)
        layout.seal(block, memoryview(block)[: layout.AT_CRC])
        try:
            self.file.write(self.slot, block)
        except OSError:
            self.dead = True
            return False
        before = self.sequence
        self.sequence = (self.sequence + 1) & _SEQUENCE_MASK
        self.slot = (self.slot + 1) % self.file.slots
        self.since_setup += 1
        if self.wrote:
            self.wrote(before, first_row)
        return True
