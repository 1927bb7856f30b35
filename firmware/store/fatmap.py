"""Where a file's slots lie on the device: its extents, read from the FAT itself, a few sectors at a time.

FatFs walks a file's cluster chain from its start for every seek backwards: halving a ring of 1 GiB in 4 KiB clusters
would read the table ten times over. The map is used for reading at start-up only, never for writing.
Field offsets: Microsoft FAT specification 1.03.
"""

from array import array

from shared_math import layout
from shared_math.compat import const

_PIECE = const(8)  # sectors of the table read at once
_MOST = const(48)  # extents; a file in more pieces is read through FatFs


class NoMap(Exception):
    """The volume or the file is not one that can be mapped."""


class FatMap:
    """Reads slots of a file of the root folder straight from `device`. slots: as FatFs tells. Raises NoMap."""

    def __init__(self, device, name, slots):
        self.device = device
        self.slots = slots
        self.buffer = bytearray(_PIECE * layout.SLOT)
        self.sector = memoryview(self.buffer)[: layout.SLOT]
        self.first_slots = array("I")
        self.first_sectors = array("I")
        self._volume()
        self._map(self._first_cluster(name))

    def read(self, slot, block):
        """Read slot `slot` into `block` (bytearray of 512)."""
        at = len(self.first_slots) - 1
        while self.first_slots[at] > slot:
            at -= 1
        self.device.readblocks(self.first_sectors[at] + slot - self.first_slots[at], block)

    def _volume(self):
        sector = self.sector
        start = 0
        self.device.readblocks(0, sector)
        if sector[0] not in (0xEB, 0xE9):  # a partition table: the first partition
            start = layout.get32(sector, 446 + 8)
            self.device.readblocks(start, sector)
        if sector[510] != 0x55 or layout.get16(sector, 11) != layout.SLOT:
            raise NoMap()
        self.cluster = sector[13]
        self.table = start + layout.get16(sector, 14)
        table_sectors = layout.get16(sector, 22) or layout.get32(sector, 36)
        self.root = self.table + sector[16] * table_sectors
        self.root_sectors = (layout.get16(sector, 17) * 32 + layout.SLOT - 1) // layout.SLOT
        self.data = self.root + self.root_sectors
        sectors = layout.get16(sector, 19) or layout.get32(sector, 32)
        clusters = (sectors - (self.data - start)) // self.cluster
        if clusters < 4085:
            raise NoMap()  # FAT12: a card of a few megabytes, where FatFs is quick enough
        self.end = clusters + 2  # marks of an end or of a bad cluster are beyond it, in either width
        self.wide = clusters >= 65525
        if self.wide:
            self.root = self._sector_of(layout.get32(sector, 44))
            self.root_sectors = self.cluster  # our files are among the first that the card got

    def _sector_of(self, cluster):
        return self.data + (cluster - 2) * self.cluster

    def _first_cluster(self, name):
        sector = self.sector
        for n in range(self.root_sectors):
            self.device.readblocks(self.root + n, sector)
            for at in range(0, layout.SLOT, 32):
                if sector[at] == 0:
                    raise NoMap()
                if bytes(sector[at : at + 11]) == name and sector[at + 11] & 0x0F != 0x0F:
                    return layout.get16(sector, at + 26) | layout.get16(sector, at + 20) << 16
        raise NoMap()

    def _map(self, cluster):
        """Walk the chain once, forward."""
        wide = self.wide
        per_piece = _PIECE * layout.SLOT // (4 if wide else 2)
        table = memoryview(self.buffer)
        piece = -1
        slot = 0
        while slot < self.slots:
            if len(self.first_slots) == _MOST or not 2 <= cluster < self.end:
                raise NoMap()
            self.first_slots.append(slot)
            self.first_sectors.append(self._sector_of(cluster))
            while True:  # one extent
                if cluster // per_piece != piece:
                    piece = cluster // per_piece
                    self.device.readblocks(self.table + piece * _PIECE, table)
                at = cluster % per_piece
                run = follow(self.buffer, at, per_piece, cluster, wide)  # pyright: ignore[reportCallIssue] the decorator hides the signature
                slot += run * self.cluster
                last = at + run - 1
                cluster += run
                following = layout.get32(table, 4 * last) & 0x0FFFFFFF if wide else layout.get16(table, 2 * last)
                if following != cluster or slot >= self.slots:
                    cluster = following
                    break


def _follow(table, at, end, cluster, wide):
    """Entries from `at` on, before `end`, until one that does not lead to the next cluster number; that one counts."""
    run = 1
    while at + run < end:
        entry = at + run - 1
        following = layout.get32(table, 4 * entry) & 0x0FFFFFFF if wide else layout.get16(table, 2 * entry)
        if following != cluster + run:
            break
        run += 1
    return run


try:
    from store.viper_fatmap import follow
except (ImportError, SyntaxError, ValueError):
    follow = _follow
