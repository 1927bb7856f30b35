"""A ring on littlefs: a folder of small files near the erase size, appended to, the oldest replaced.

littlefs copies on write: overwriting in place would program hundreds of bytes for each payload byte. A block is
flushed when it is written: without that it would not be there after a power cut.
"""

import os

import errnos
from shared_math import layout
from shared_math.compat import const
from store.fatfile import exists

SEGMENT = const(32)  # slots in a file: 16 KiB


class SegmentCard:
    """The medium: a mounted littlefs volume. `folder` is its mount point."""

    def __init__(self, folder):
        self.folder = folder

    def exists(self, name):
        """Whether the ring `name` is there."""
        return exists(self.folder + "/" + name)

    def make(self, name, slots, first_block):
        """Make the ring `name` with its first block."""
        os.mkdir(self.folder + "/" + name)
        store = self.open(name, slots)
        store.write(0, first_block)

    def open(self, name, slots):
        """The store of the ring `name`, with `slots` slots in all."""
        return Segments(self.folder + "/" + name, slots)

    def keep(self, name):
        """Rename a ring that is not ours to overwrite, so that a new one can be made."""
        path = self.folder + "/" + name
        number = 1
        while exists("%s_kept%d" % (path, number)):
            number += 1
        os.rename(path, "%s_kept%d" % (path, number))


class Segments:
    """Slots in files `0000.rpl`, `0001.rpl`... of a folder; slots never written read as zeros."""

    def __init__(self, folder, slots):
        self.folder = folder
        self.slots = slots // SEGMENT * SEGMENT
        self._write = None
        self._segment = -1  # being written
        self._read = None
        self._reading = -1

    def read(self, slot, block):
        """Read slot `slot` into `block` (bytearray of 512)."""
        block[:] = bytes(layout.SLOT)
        segment = slot // SEGMENT
        if segment != self._reading:
            self._stop_reading()
            try:
                self._read = open(self._path(segment), "rb")
            except OSError as error:
                if error.errno != errnos.ENOENT:
                    raise
                return
            self._reading = segment
        self._read.seek(slot % SEGMENT * layout.SLOT)
        self._read.readinto(block)

    def write(self, slot, blocks):
        """Write the slots from `slot` on; the first slot of a segment replaces the segment's file of the lap before."""
        left = SEGMENT - slot % SEGMENT
        if len(blocks) > left * layout.SLOT:
            self.write(slot, blocks[: left * layout.SLOT])
            self.write(slot + left, blocks[left * layout.SLOT :])
            return
        segment = slot // SEGMENT
        at = slot % SEGMENT
        if segment == self._reading:
            self._stop_reading()  # an open file does not see what another one appends
        if segment != self._segment or at == 0:
            self._open(segment, at)
        if self._write.write(blocks) != len(blocks):
            raise OSError(errnos.EIO)
        self._write.flush()

    def for_search(self):
        """Something with `slots` and `read` that is quick at any slot."""
        return self

    def _stop_reading(self):
        if self._read:
            self._read.close()
            self._read = None
        self._reading = -1

    def _open(self, segment, at):
        if self._write:
            self._write.close()
            self._write = None
        path = self._path(segment)
        if at == 0:
            self._write = open(path, "wb")
        else:
            try:
                self._write = open(path, "r+b")
            except OSError:
                self._write = open(path, "wb")
            self._write.seek(0, 2)
            while self._write.tell() < at * layout.SLOT:  # slots left out after a damaged end
                self._write.write(bytes(layout.SLOT))
            self._write.seek(at * layout.SLOT)
        self._segment = segment

    def _path(self, segment):
        return "%s/%04d.rpl" % (self.folder, segment)
