"""Cards that answer, but hold no volume that the logger can use. Runs under MicroPython."""

import vfs

import errnos
from boards import volume
from panel import faults
from shared_math import faults as told

SECTORS = 160


class Disk:
    """A card in memory. sector: its bytes."""

    def __init__(self, sector=512, data=None):
        self.sector = sector
        self.data = data or bytearray(SECTORS * 512)

    def readblocks(self, n, buf):
        buf[:] = memoryview(self.data)[n * self.sector : n * self.sector + len(buf)]

    def writeblocks(self, n, buf):
        self.data[n * self.sector : n * self.sector + len(buf)] = buf

    def ioctl(self, op, _arg):
        if op == 4:
            return len(self.data) // self.sector
        return self.sector if op == 5 else 0


def error_of(disk):
    try:
        volume.mount(disk, "/v")
    except OSError as error:
        return error.errno
    vfs.umount("/v")
    return 0


def test_a_fat_volume_is_mounted():
    disk = Disk()
    vfs.VfsFat.mkfs(disk)
    assert error_of(disk) == 0


def test_nothing_at_all():
    assert error_of(Disk()) == errnos.EMEDIUMTYPE


def test_exfat():
    """Its boot record: a jump, its name, zeros where FAT has its numbers (exFAT specification of Microsoft, 3.1)."""
    disk = Disk()
    boot = bytearray(512)
    boot[:11] = b"\xeb\x76\x90EXFAT   "
    boot[510:] = b"\x55\xaa"
    disk.writeblocks(0, boot)
    assert error_of(disk) == errnos.EMEDIUMTYPE


def test_sectors_of_4_kb():
    disk = Disk(4096)
    try:
        vfs.VfsFat.mkfs(disk)
    except OSError:  # a port whose FAT has no such sectors makes none either
        return
    assert error_of(Disk(data=disk.data)) == errnos.EMEDIUMTYPE


def test_a_card_that_can_not_be_read_is_no_other_format():
    class Bad(Disk):
        def readblocks(self, n, buf):
            raise OSError(errnos.ETIMEDOUT)

    assert error_of(Bad()) not in (0, errnos.EMEDIUMTYPE)


def test_it_has_a_fault_of_its_own():
    class Plan:
        number_of = {name: told.FAULTS[name][0] for name in told.FAULTS}

    one = faults.Faults(Plan(), None)
    assert one.of_card(errnos.EMEDIUMTYPE) == 28
    assert one.of_card(errnos.ENODEV) == 21
