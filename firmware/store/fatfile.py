"""A ring file on FAT: its room is taken once, then whole aligned sectors are overwritten in place.

No flush and no close while recording: both would write metadata, and a power cut inside that can lose the whole file.
"""

import os

import errnos
from shared_math import layout


class FatCard:
    """The medium: a mounted FAT volume. `folder` is its mount point, `device` what it is mounted from (or None)."""

    def __init__(self, folder, device=None):
        self.folder = folder
        self.device = device

    def exists(self, name):
        """Whether the ring file `name` is there; it then has its first block."""
        return exists(self._path(name))

    def make(self, name, slots, first_block):
        """Make the ring file `name`. It gets its name last, so that a power cut leaves no file without first block.

        first_block: a birth block; it notes whose blocks lie in the room that the card gave.
        """
        half_made = self.folder + "/" + name + ".tmp"
        if exists(half_made):
            os.remove(half_made)
        make(half_made, slots)
        with open(half_made, "r+b") as f:
            f.seek(layout.SLOT)
            layout.name_before(first_block, f.read(layout.SLOT))
            f.seek(0)
            f.write(first_block)
        os.rename(half_made, self._path(name))

    def open(self, name, _slots):
        """The store of the ring file `name`, whatever its size."""
        return FatFile(self._path(name), self.device)

    def keep(self, name):
        """Rename a ring file that is not ours to overwrite, so that a new one can be made."""
        number = 1
        while exists(self._path("%s_kept%d" % (name, number))):
            number += 1
        os.rename(self._path(name), self._path("%s_kept%d" % (name, number)))

    def _path(self, name):
        return self.folder + "/" + name + ".rpl"


def exists(path):
    """Whether there is such a file (a listing would stumble over names that a power cut left damaged)."""
    try:
        os.stat(path)
    except OSError as error:
        if error.errno != errnos.ENOENT:
            raise
        return False
    return True


def make(path, slots):
    """Make a ring file of `slots` slots; what the card held there before stays in it until overwritten.

    OSError 28 (no space) when the card took less; the clipped file is removed.
    """
    size = slots * layout.SLOT
    try:
        with open(path, "wb") as f:
            f.seek(size - layout.SLOT)
            f.write(bytes(layout.SLOT))
        whole = os.stat(path)[6] == size
    except OSError as error:
        if error.errno != errnos.ENOSPC:
            raise
        whole = False
    if not whole:
        os.remove(path)
        raise OSError(errnos.ENOSPC)


class FatFile:
    """Slots of a preallocated file. The interface of every store: `slots`, `read`, `write`, `for_search`."""

    def __init__(self, path, device=None):
        self.path = path
        self.device = device
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
            raise OSError(errnos.EIO)
        self._read_at = slot + 1

    def write(self, slot, blocks):
        """Overwrite the slots from `slot` on with `blocks`: one device write, or one for each cluster that is
        touched."""
        if slot != self._write_at:
            self._write.seek(slot * layout.SLOT)
        self._write_at = -1
        if self._write.write(blocks) != len(blocks):
            raise OSError(errnos.EIO)
        self._write_at = slot + len(blocks) // layout.SLOT

    def for_search(self):
        """Something with `slots` and `read` that is quick at any slot."""
        name = self.path.split("/")[-1].upper().split(".")
        if self.device is None or len(name[0]) > 8:
            return self
        from store import fatmap  # given back while recording, see memory.settle

        try:
            return fatmap.FatMap(self.device, ("%-8s%-3s" % (name[0], name[1])).encode(), self.slots)
        except fatmap.NoMap:
            return self
