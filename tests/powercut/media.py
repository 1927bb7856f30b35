"""Storage that remembers every write and can lose power in the middle of one. Runs under MicroPython."""

import bare
import vfs

from shared_math import layout
from store import fatfile, segments

SECTOR = 512
ERASE = 4096
SLOTS = 64  # of the drive ring
PULLS = 64
OLD_RING = b"old!"
EIO = -5  # what a device without power answers to the finalisers of the program that ran


class PowerCut(Exception):
    """The supply went; the program that ran is gone."""


class Disk:
    """A card in memory. `log` holds (offset, bytes) of each write; `budget` writes are left until the power goes."""

    def __init__(self, image):
        self.image = image
        self.log = None
        self.budget = -1
        self.torn = None
        self.dead = False

    def put(self, offset, data):
        if self.budget == 0:
            self.dead = True
            tear(self.image, offset, data, self.torn)
            raise PowerCut()
        self.budget -= 1
        if self.log is not None:
            self.log.append((offset, bytes(data)))
        self.image[offset : offset + len(data)] = data

    def readblocks(self, n, buf):
        at = n * SECTOR
        if self.dead:
            return EIO
        buf[:] = memoryview(self.image)[at : at + len(buf)]

    def writeblocks(self, n, buf):
        if self.dead:
            return EIO
        for at in range(0, len(buf), SECTOR):
            self.put(n * SECTOR + at, memoryview(buf)[at : at + SECTOR])

    def ioctl(self, op, _arg):
        if op == 4:
            return len(self.image) // SECTOR
        if op == 5:
            return SECTOR
        return 0


class Flash(Disk):
    """Internal flash: erased in 4 KiB, programmed in pieces; littlefs drives it."""

    def readblocks(self, n, buf, offset=0):
        at = n * ERASE + offset
        if self.dead:
            return EIO
        buf[:] = memoryview(self.image)[at : at + len(buf)]

    def writeblocks(self, n, buf, offset=0):
        if self.dead:
            return EIO
        self.put(n * ERASE + offset, buf)

    def ioctl(self, op, arg):
        if op == 4:
            return len(self.image) // ERASE
        if op == 5:
            return ERASE
        if op == 6:
            if self.dead:
                return EIO
            self.put(arg * ERASE, b"\xff" * ERASE)
        return 0


def tear(image, offset, data, how):
    """Leave a write half done: None nothing of it, 'half' the first half, 'ff' and 'zero' all ones or zeros, or a
    number of bytes of it."""
    size = len(data)
    if how is None:
        return
    if how == "half":
        how = size // 2
    if how == "ff":
        image[offset : offset + size] = b"\xff" * size
    elif how == "zero":
        image[offset : offset + size] = bytes(size)
    else:
        image[offset : offset + how] = data[:how]


def fill_with_old_ring(image):
    """A used card: every sector holds a good block of a ring that was deleted, its sequence and session far ahead."""
    block = bytearray(SECTOR)
    for at in range(0, len(image), SECTOR):
        layout.start_block(block, layout.PACKED, OLD_RING)
        layout.put32(block, layout.AT_SEQUENCE, 100000 + at // SECTOR)
        layout.put16(block, layout.AT_SESSION, 77)
        layout.put16(block, layout.AT_ROWS, 1)
        layout.seal(block, memoryview(block)[: layout.AT_CRC])
        image[at : at + SECTOR] = block


class Kind:
    """A medium under test: how to make its image, mount it and find what its rings are kept in."""

    def __init__(self, name, size):
        self.name = name
        self.size = size

    def fresh(self):
        """A formatted disk."""
        disk = self.disk(bytearray(self.size))
        if self.name == "fat":
            fill_with_old_ring(disk.image)
            vfs.VfsFat.mkfs(disk)
        elif self.name == "littlefs":
            vfs.VfsLfs2.mkfs(disk)
        return disk

    def disk(self, image):
        return Flash(image) if self.name == "littlefs" else Disk(image)

    def mount(self, disk):
        """The store medium on the disk."""
        if self.name == "raw":
            return bare.BareCard(disk, PULLS)
        if self.name == "fat":
            vfs.mount(vfs.VfsFat(disk), "/t")
            return fatfile.FatCard("/t", disk)
        vfs.mount(vfs.VfsLfs2(disk), "/t")
        return segments.SegmentCard("/t")

    def unmount(self):
        if self.name != "raw":
            vfs.umount("/t")

    def gone_with(self, slot):
        """Slots whose older content is given up when `slot` is written."""
        if self.name == "littlefs" and slot % segments.SEGMENT == 0:
            return range(slot, slot + segments.SEGMENT)
        return range(slot, slot + 1)


KINDS = {"fat": Kind("fat", 260 * SECTOR), "littlefs": Kind("littlefs", 48 * ERASE), "raw": Kind("raw", 160 * SECTOR)}


class Watched:
    """A medium whose stores tell `acks` (device writes so far, ring, slot, block) of every block they took."""

    def __init__(self, medium, disk, acks):
        self.medium = medium
        self.disk = disk
        self.acks = acks

    def exists(self, name):
        return self.medium.exists(name)

    def make(self, name, slots, first_block):
        self.medium.make(name, slots, first_block)
        self.took(name, 0, first_block)

    def open(self, name, slots):
        return WatchedStore(self.medium.open(name, slots), name, self)

    def took(self, name, slot, block):
        log = self.disk.log
        count = len(block) // SECTOR
        for n in range(count):
            done = len(log) if log is not None else 0
            if not isinstance(self.disk, Flash):
                done -= count - 1 - n  # sectors are taken one after the other
            self.acks.append((done, name, slot + n, bytes(block[n * SECTOR : (n + 1) * SECTOR])))

    def keep(self, name):
        self.medium.keep(name)


class WatchedStore:
    def __init__(self, store, name, watched):
        self.store = store
        self.name = name
        self.slots = store.slots
        self.watched = watched

    def read(self, slot, block):
        self.store.read(slot, block)

    def for_search(self):
        return self.store.for_search()

    def write(self, slot, block):
        self.store.write(slot, block)
        self.watched.took(self.name, slot, block)
