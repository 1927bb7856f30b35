"""Blocks into the drive ring: sequence, session, setup repeats. Knows nothing of rows."""

from shared_math import layout

_SEQUENCE_MASK = 0xFFFFFFFF


class DriveWriter:
    """Appends blocks to the ring. setup: the setup text (bytes) of this session."""

    def __init__(self, file, ring_id, sequence, slot, session, setup):
        self.file = file
        self.ring_id = ring_id
        self.sequence = sequence  # of the next block
        self.slot = slot  # of the next block
        self.session = session
        self.setup = setup
        self.setup_sequence = sequence
        self.setup_parts = 0
        self.since_setup = 0
        self._block = bytearray(layout.SLOT)
        self._checked = memoryview(self._block)[: layout.AT_CRC]

    def start(self, kind):
        """A cleared block of this ring, to be filled and given to `append`."""
        layout.start_block(self._block, kind, self.ring_id)
        return self._block

    def append(self):
        """Number, seal and write the block handed out by `start`."""
        block = self._block
        layout.put32(block, layout.AT_SEQUENCE, self.sequence)
        layout.put16(block, layout.AT_SESSION, self.session)
        layout.seal(block, self._checked)
        self.file.write(self.slot, block)
        self.sequence = (self.sequence + 1) & _SEQUENCE_MASK
        self.slot = (self.slot + 1) % self.file.slots
        self.since_setup += 1

    def setup_due(self):
        """Whether the setup must be repeated before the next block."""
        return self.since_setup + self.setup_parts >= layout.SETUP_EVERY

    def write_setup(self):
        """Write the setup group."""
        text = self.setup
        parts = (len(text) + layout.PAYLOAD - 1) // layout.PAYLOAD
        self.setup_sequence = self.sequence
        self.setup_parts = parts
        for part in range(parts):
            piece = text[part * layout.PAYLOAD : (part + 1) * layout.PAYLOAD]
            self._write_text(layout.SETUP, piece, part, parts)
        self.since_setup = 0

    def write_health(self, text):
        """Write a health block; text: JSON bytes of at most layout.PAYLOAD."""
        self._write_text(layout.HEALTH, text, 0, 1)

    def _write_text(self, kind, piece, part, parts):
        block = self.start(kind)
        layout.put16(block, layout.AT_LENGTH, len(piece))
        block[layout.AT_PART] = part
        block[layout.AT_PARTS] = parts
        block[layout.AT_PAYLOAD : layout.AT_PAYLOAD + len(piece)] = piece
        self.append()

    def slot_of(self, sequence):
        """The slot where the block with this sequence stands."""
        back = (self.sequence - sequence) & _SEQUENCE_MASK
        return (self.slot - back) % self.file.slots


def birth(file, ring_id, which, sequence):
    """Write a new file's first block."""
    block = bytearray(layout.SLOT)
    layout.start_block(block, layout.BIRTH, ring_id)
    layout.put32(block, layout.AT_SEQUENCE, sequence)
    layout.put16(block, layout.AT_LENGTH, 8)
    layout.put32(block, layout.AT_PAYLOAD, file.slots)
    block[layout.AT_PAYLOAD + 4] = which
    layout.seal(block, memoryview(block)[: layout.AT_CRC])
    file.write(0, block)
