"""A ring file on FAT: its room is taken once, then whole aligned sectors are overwritten in place.

No flush and no close while recording: both would write metadata, and a power cut inside that can lose the whole file.
"""

import os

from shared_math import layout


class CardFull(OSError):
    """The card has not enough room for the ring file."""


def make(path, slots):
    """Make a ring file of `slots` slots; what the card held there before stays in it until overwritten."""
    size = slots * layout.SLOT
    try:
        with open(path, "wb") as f:
            f.seek(size - layout.SLOT)
            f.write(bytes(layout.SLOT))
        whole = os.stat(path)[6] == size
    except OSError:
        whole = False
    if not whole:
        os.remove(path)
        raise CardFull(28)


class FatFile:
    """Slots of a preallocated file. `slots`, `read(slot, block)`, `write(slot, block)`: the interface of every store."""

    def __init__(self, path):
        self.slots = os.stat(path)[6] // layout.SLOT
        # One handle for each direction: a seek backwards walks the file's cluster chain from its start
        self._write = open(path, "r+b")
        self._read = open(path, "rb")
        self._write_at = 0
        self._read_at = 0

    def read(self, slot, block):
        """Read slot `slot` into `block` (bytearray of 512)."""
        if slot != self._read_at:
            self._read.seek(slot * layout.SLOT)
        self._read_at = -1
        if self._read.readinto(block) != layout.SLOT:
            raise OSError(5)
        self._read_at = slot + 1

    def write(self, slot, block):
        """Overwrite slot `slot` with `block`: one device write."""
        if slot != self._write_at:
            self._write.seek(slot * layout.SLOT)
        self._write_at = -1
        if self._write.write(block) != layout.SLOT:
            raise OSError(5)
        self._write_at = slot + 1
