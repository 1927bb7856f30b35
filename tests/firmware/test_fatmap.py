"""Where a file lies, read from tables made here by hand as the FAT specification 1.03 has them. Runs under
MicroPython."""

from shared_math import layout
from store import fatmap

NAME = b"DRIVE   RPL"


class FakeDevice:
    """Sectors that nobody wrote hold their own number."""

    def __init__(self):
        self.sectors = {}
        self.asked = []

    def at(self, number):
        if number not in self.sectors:
            self.sectors[number] = bytearray(layout.SLOT)
        return self.sectors[number]

    def readblocks(self, number, buf):
        self.asked.append(number)
        for n in range(len(buf) // layout.SLOT):
            sector = self.sectors.get(number + n)
            if sector is None:
                sector = bytearray(layout.SLOT)
                layout.put32(sector, 0, number + n)
            buf[n * layout.SLOT : (n + 1) * layout.SLOT] = sector


def boot(sector, cluster, reserved, root_entries, sectors, table_sectors, wide):
    sector[0] = 0xEB
    layout.put16(sector, 11, layout.SLOT)
    sector[13] = cluster
    layout.put16(sector, 14, reserved)
    sector[16] = 2  # tables
    layout.put16(sector, 17, root_entries)
    if sectors < 65536:
        layout.put16(sector, 19, sectors)
    else:
        layout.put32(sector, 32, sectors)
    if wide:
        layout.put32(sector, 36, table_sectors)
        layout.put32(sector, 44, 2)  # cluster of the root folder
    else:
        layout.put16(sector, 22, table_sectors)
    layout.put16(sector, 510, 0xAA55)


def entry(sector, number, name, attribute, cluster):
    at = 32 * number
    sector[at : at + 11] = name
    sector[at + 11] = attribute
    layout.put16(sector, at + 26, cluster & 0xFFFF)
    layout.put16(sector, at + 20, cluster >> 16)


def chain(device, table, wide, clusters, top=0):
    """Entries that lead through `clusters`, and the mark of the last one. top: what the four upper bits hold."""
    for at, cluster in enumerate(clusters):
        last = 0x0FFFFFFF if wide else 0xFFFF
        following = clusters[at + 1] if at + 1 < len(clusters) else last
        size = 4 if wide else 2
        sector = device.at(table + size * cluster // layout.SLOT)
        if wide:
            layout.put32(sector, size * cluster % layout.SLOT, following | top << 28)
        else:
            layout.put16(sector, size * cluster % layout.SLOT, following)


CLUSTERS = [10, 11, 12, 100, 101, 3000, 3001, 3002]


def narrow(clusters=5000, chained=CLUSTERS, sectors=None):
    """FAT16 without partitions, 4 sectors in a cluster: 1 reserved, 2 tables of 20, 32 of the root folder; data from
    sector 73 on."""
    device = FakeDevice()
    boot(device.at(0), 4, 1, 512, 73 + 4 * clusters if sectors is None else sectors, 20, False)
    chain(device, 1, False, chained)
    root = device.at(41)
    entry(root, 0, b"PULLS   RPL", 0x20, 5)
    entry(root, 1, NAME, 0x0F, 6)  # a piece of a long name
    entry(root, 2, NAME, 0x20, chained[0])
    return device


def refused(device, name=NAME, slots=31):
    try:
        fatmap.FatMap(device, name, slots)
    except fatmap.NoMap:
        return True
    return False


def test_a_file_in_three_pieces():
    """Cluster n begins at sector 73 + 4 (n - 2): 10 at 105, 100 at 465, 3000 at 12065, which is in the table's second
    piece of 2048 entries."""
    device = narrow()
    found = fatmap.FatMap(device, NAME, 31)
    assert list(found.first_slots) == [0, 12, 20] and list(found.first_sectors) == [105, 465, 12065]
    assert [n for n in device.asked if 1 <= n <= 40] == [1, 9]
    block = bytearray(layout.SLOT)
    for slot, sector in ((0, 105), (11, 116), (12, 465), (19, 472), (20, 12065), (30, 12075), (5, 110)):
        found.read(slot, block)
        assert layout.get32(block, 0) == sector, slot


def test_a_volume_behind_a_partition_table_with_entries_of_32_bits():
    """From sector 63: 32 reserved, 2 tables of 547, so that data begins at 1189, the root folder with cluster 2.
    Cluster n of 8 sectors begins at 1189 + 8 (n - 2): 66000 at 529173, 300 at 3573."""
    device = FakeDevice()
    layout.put32(device.at(0), 446 + 8, 63)
    boot(device.at(63), 8, 32, 0, 1126 + 8 * 70000, 547, True)
    chain(device, 95, True, [66000, 66001, 66002, 300, 301], top=0xA)
    entry(device.at(1196), 15, NAME, 0x20, 66000)  # the last entry of the folder's first cluster
    for sector in range(1189, 1197):
        for n in range(16):
            if device.at(sector)[32 * n] == 0:
                entry(device.at(sector), n, b"OTHER   TXT", 0x20, 9)
    found = fatmap.FatMap(device, NAME, 40)
    assert list(found.first_slots) == [0, 24] and list(found.first_sectors) == [529173, 3573]


def test_how_wide_entries_are_goes_by_the_number_of_clusters():
    assert refused(narrow(4084)) and not refused(narrow(4085))  # fewer are FAT12
    assert not refused(narrow(5000)) and not fatmap.FatMap(narrow(65524), NAME, 31).wide
    device = narrow(65525)
    layout.put32(device.at(0), 44, 500)  # where the root folder would be
    entry(device.at(73 + 4 * 498), 0, NAME, 0x20, 10)
    chain(device, 1, True, CLUSTERS)
    assert fatmap.FatMap(device, NAME, 31).wide


def test_what_cannot_be_mapped():
    assert refused(narrow(), b"OTHER   RPL")
    for at, value in ((510, 0), (12, 4)):
        device = narrow()
        device.at(0)[at] = value
        assert refused(device), at
    assert not refused(narrow(), slots=32) and refused(narrow(), slots=33)  # the chain ends before the file does
    full = narrow()
    for n in range(32 * 16):
        entry(full.at(41 + n // 16), n % 16, b"OTHER   RPL", 0x20, 9)
    assert refused(full)
    entry(full.at(72), 15, NAME, 0x20, 10)  # the last of 512 entries
    assert not refused(full)
    assert refused(narrow(chained=[10, 1, 20]), slots=12)


def test_a_file_in_too_many_pieces():
    apart = [10 + 2 * n for n in range(49)]
    assert not refused(narrow(chained=apart), slots=48 * 4)
    assert refused(narrow(chained=apart), slots=48 * 4 + 1)


def test_both_kernels_find_the_same_end_of_a_run():
    for wide in (False, True):
        size = 4 if wide else 2
        table = bytearray(8 * layout.SLOT)
        put = layout.put32 if wide else layout.put16
        for n, following in ((5, 106), (6, 107), (7, 108), (8, 300), (9, 110)):
            put(table, size * n, following | (0x50000000 if wide else 0))
        for follow in (fatmap._follow, fatmap.follow):
            assert follow(table, 5, 2048 // (size // 2), 105, wide) == 4  # entries 5 to 8
            assert follow(table, 8, 2048 // (size // 2), 108, wide) == 1
            assert follow(table, 5, 7, 105, wide) == 2  # the piece of the table ends
            assert follow(table, 6, 7, 106, wide) == 1
