"""A 1 GiB ring on a FAT32 volume that exists only as a rule: every sector is made when it is read. Reads are
counted."""

from array import array

from shared_math import layout

TABLE = 32
SECTORS_PER_CLUSTER = 8


class BigCard:
    """pieces: the file's extents as [(first cluster, clusters)]. head, lap: newest slot, laps before. bad: set of
    slots."""

    def __init__(self, slots, pieces, head, lap, bad):
        self.slots = slots
        self.pieces = pieces
        self.head = head
        self.lap = lap
        self.bad = bad
        self.reads = 0
        self.clusters = max([first + count for first, count in pieces]) + 8
        self.table_sectors = (self.clusters + 127) // 128
        self.data = TABLE + 2 * self.table_sectors
        self.sectors = self.data + self.clusters * SECTORS_PER_CLUSTER
        self.block = bytearray(layout.SLOT)

    def ioctl(self, op, _arg):
        return {4: self.sectors, 5: layout.SLOT}.get(op, 0)

    def writeblocks(self, n, buf):
        raise OSError(30)

    def readblocks(self, n, buf):
        self.reads += 1
        view = memoryview(buf)
        for at in range(len(buf) // layout.SLOT):
            self.block[:] = bytes(layout.SLOT)
            self._make(n + at)
            view[at * layout.SLOT : (at + 1) * layout.SLOT] = self.block

    def _make(self, sector):
        if sector == 0:
            self._boot()
        elif TABLE <= sector < self.data:
            self._table((sector - TABLE) % self.table_sectors * 128)
        elif self.data <= sector < self.data + SECTORS_PER_CLUSTER:
            if sector == self.data:
                self.block[0:11] = b"DRIVE   RPL"
                layout.put16(self.block, 26, self.pieces[0][0] & 0xFFFF)
                layout.put16(self.block, 20, self.pieces[0][0] >> 16)
                layout.put32(self.block, 28, self.slots * layout.SLOT)
        elif sector >= self.data:
            cluster, inside = divmod(sector - self.data, SECTORS_PER_CLUSTER)
            self._ring(cluster + 2, inside)

    def _boot(self):
        block = self.block
        block[0:3] = b"\xeb\x58\x90"
        layout.put16(block, 11, layout.SLOT)
        block[13] = SECTORS_PER_CLUSTER
        layout.put16(block, 14, TABLE)
        block[16] = 2
        block[21] = 0xF8
        layout.put32(block, 32, self.sectors)
        layout.put32(block, 36, self.table_sectors)
        layout.put32(block, 44, 2)
        block[82:90] = b"FAT32   "
        block[510:512] = b"\x55\xaa"

    def _table(self, first):
        for start, count in self.pieces:
            if start <= first and first + 128 < start + count:  # a search reads hundreds of these
                self.block[:] = bytes(array("I", range(first + 1, first + 129)))
                return
        for n in range(128):
            layout.put32(self.block, 4 * n, self._entry(first + n))

    def _entry(self, cluster):
        if cluster < 3:
            return 0x0FFFFFFF
        for n in range(len(self.pieces)):
            first, count = self.pieces[n]
            if first <= cluster < first + count - 1:
                return cluster + 1
            if cluster == first + count - 1:
                return self.pieces[n + 1][0] if n + 1 < len(self.pieces) else 0x0FFFFFFF
        return 0

    def _ring(self, cluster, inside):
        slot = 0
        for first, count in self.pieces:
            if first <= cluster < first + count:
                slot += (cluster - first) * SECTORS_PER_CLUSTER + inside
                break
            slot += count * SECTORS_PER_CLUSTER
        sequence = self.lap * self.slots + slot - (self.slots if slot > self.head else 0)
        if sequence < 0:
            return
        layout.start_block(self.block, layout.PACKED, b"ring")
        layout.put32(self.block, layout.AT_SEQUENCE, sequence)
        layout.seal(self.block, memoryview(self.block)[: layout.AT_CRC])
        if slot in self.bad:
            self.block[100] ^= 1
