"""Blocks into the drive ring: sequence, session, setup repeats, and what waits while the card does not answer."""

from binascii import crc32

from shared_math import layout

_SEQUENCE_MASK = 0xFFFFFFFF
_AT_ONCE = 8  # blocks in one write at most, from a multiple of it on: within one cluster, so that it is one write


class DriveWriter:
    """Writes blocks to the ring. setup: the setup text (bytes) of this session. place: see store/card.py.
    waiting: an outbox.Outbox.

    `wrote(before, first_row)` is called after blocks from sequence `before` on were written.
    """

    def __init__(self, place, setup, waiting):
        self.tell(setup)
        self.outbox = waiting
        self.wrote = None
        self.dead = False  # the card did not take a block: `bind` it, or another one, anew
        self.error = 0  # errno of that
        self.writes = 0  # that were taken: what was accepted is so once the next access has not told otherwise
        self.lent = False  # blocks of the outbox are being written
        self.spare = bytearray(layout.SLOT)  # what it held need not last
        self.bind(place)

    def tell(self, setup):
        """Take the setup text (bytes) of this session. Before anything is written."""
        self.setup = setup
        self.setup_parts = (len(setup) + layout.PAYLOAD - 1) // layout.PAYLOAD
        self.setup_crc = crc32(setup)

    def bind(self, place, same_ring=False):
        """Go on in these files; rows that wait are written after a setup group. same_ring: they hold this session."""
        if same_ring and place.last.session == self.session:
            place.session = self.session
            self._forget_taken(place.last.first_row)
        self.file = place.drive
        self.ring_id = place.ring_id
        self.sequence = place.sequence  # of the next block
        self.slot = place.drive_slot  # of the next block
        self.session = place.session
        self.setup_sequence = self.sequence
        # Soon again at first, so that one damaged sector does not cost a short drive, then ever more seldom
        self.setup_every = (layout.SETUP_AGAIN + self.setup_parts + 3) // 4
        self.since_setup = layout.SETUP_EVERY  # none in this file yet
        self.setup_part = 0  # of the setup group: the next one to be written
        self.accepted = False  # a write, since these files were opened
        self.dead = False

    def go_on(self):
        """The card is back, and holds all that was written."""
        self.accepted = False
        self.dead = False

    def fell(self, error):
        """The card did not do what it was told."""
        self.dead = True
        self.error = error.errno

    def _forget_taken(self, first_row):
        """Of blocks written at once, the card had taken those up to the one with `first_row` before it fell silent."""
        box = self.outbox
        for number in range(box.held):
            if layout.get32(box.at(number), layout.AT_FIRST_ROW) == first_row:
                box.taken(number + 1)
                return

    def start_rows(self):
        """A cleared row block, to be filled and handed back by `add_rows`."""
        block = self.outbox.next()
        layout.start_block(block, layout.PACKED, self.ring_id)
        return block

    def add_rows(self):
        """The block of `start_rows` is filled: it waits for `flush`."""
        self.outbox.add()

    def flush(self):
        """One write of what waits: a part of the setup group where one is due, else some blocks. True when none is
        left."""
        box = self.outbox
        if not box.held or self.dead:
            return not box.held
        if self.setup_part or self.since_setup + self.setup_parts >= self.setup_every:
            self._write_setup_part(layout.get32(box.oldest(), layout.AT_FIRST_ROW))
            return False
        window = _AT_ONCE - self.slot % _AT_ONCE
        rest = self.file.slots - self.slot
        blocks = box.run(min(window, rest, self.setup_every - self.setup_parts - self.since_setup))
        self.lent = True
        if self._write(blocks):
            box.taken(len(blocks) // layout.SLOT)
        self.lent = False
        return not box.held

    def write_setup(self, first_row):
        """Write the setup group among the rows from `first_row` on. False when the card did not take it."""
        while self._write_setup_part(first_row):
            if not self.setup_part:
                return True
        return False

    def _write_setup_part(self, first_row):
        part = self.setup_part
        start = self.sequence
        piece = memoryview(self.setup)[part * layout.PAYLOAD : (part + 1) * layout.PAYLOAD]
        self._start_text(layout.SETUP, piece, part, self.setup_parts)
        layout.put32(self.spare, layout.AT_WHOLE, self.setup_crc)
        if not self._write(self.spare, first_row):
            return False
        self.setup_part = (part + 1) % self.setup_parts
        if not self.setup_part:
            self.setup_sequence = (start - part) & _SEQUENCE_MASK
            # A ring of a few slots must not lose its setup before the next one
            self.setup_every = min(4 * self.setup_every, layout.SETUP_EVERY, self.file.slots // 4)
            self.since_setup = 0
        return True

    def write_text(self, kind, text, first_row):
        """Write a block of an optional kind; text: bytes, at most layout.PAYLOAD. Whether it was written: not while the
        card is dead or rows wait for it."""
        if self.dead or self.outbox.held:
            return False
        self._start_text(kind, text, 0, 1)
        return self._write(self.spare, first_row)

    def slot_of(self, sequence):
        """The slot where the block with this sequence stands."""
        back = (self.sequence - sequence) & _SEQUENCE_MASK
        return (self.slot - back) % self.file.slots

    def _start_text(self, kind, piece, part, parts):
        block = self.spare
        layout.start_block(block, kind, self.ring_id)
        layout.put16(block, layout.AT_LENGTH, len(piece))
        block[layout.AT_PART] = part
        block[layout.AT_PARTS] = parts
        block[layout.AT_PAYLOAD : layout.AT_PAYLOAD + len(piece)] = piece

    def _write(self, blocks, first_row=-1):
        """Number, seal and write blocks. Only blocks that were taken have used their numbers.

        first_row: of the rows they stand among; -1: they are row blocks, and say it themselves.
        """
        count = len(blocks) // layout.SLOT
        for number in range(count):
            block = blocks if count == 1 else blocks[number * layout.SLOT : (number + 1) * layout.SLOT]
            for at in range(4):
                block[layout.AT_RING + at] = self.ring_id[at]
            layout.put32(block, layout.AT_SEQUENCE, (self.sequence + number) & _SEQUENCE_MASK)
            layout.put16(block, layout.AT_SESSION, self.session)
            layout.seal(block, memoryview(block)[: layout.AT_CRC])
        try:
            self.file.write(self.slot, blocks)
        except OSError as error:
            self.fell(error)
            return False
        if self.accepted:
            self.writes = (self.writes + 1) & 0xFFFF
        self.accepted = True
        for number in range(count):
            before = self.sequence
            self.sequence = (self.sequence + 1) & _SEQUENCE_MASK
            if self.wrote:
                if first_row < 0:
                    self.wrote(before, layout.get32(blocks, number * layout.SLOT + layout.AT_FIRST_ROW))
                else:
                    self.wrote(before, first_row)
        self.slot = (self.slot + count) % self.file.slots
        self.since_setup += count
        return True
