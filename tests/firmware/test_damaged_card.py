"""Starts on cards of which something is damaged or which held another ring before. MicroPython."""

import gc

import vfs
from disk import LoggedDisk
from drive import Drive

from shared_math import layout
from store import fatfile

_KEPT = []  # a collected file object would close itself on a disk that is gone
SLOTS = 200


class BadSectors(LoggedDisk):
    """Some sectors can't be read."""

    bad = ()

    def readblocks(self, n, buf):
        for at in range(len(buf) // layout.SLOT):
            if n + at in self.bad:
                raise OSError(5)
        super().readblocks(n, buf)


def new_disk():
    gc.collect()
    disk = BadSectors("disk%d.img" % len(_KEPT), 600)
    _KEPT.append(disk)
    vfs.VfsFat.mkfs(disk)
    return disk


def recorded(disk, rows, device=None):
    """Record some rows on a disk; the drive, whose card tells how it went on."""
    vfs.mount(vfs.VfsFat(disk), "/t")
    drive = Drive(fatfile.FatCard("/t", device), SLOTS, 120)
    _KEPT.append(drive.card)
    for n in range(rows):
        drive.row(n)
    drive.recorder.finish()
    vfs.umount("/t")
    return drive


def spoil(disk, count):
    """Other bytes in the first slots."""
    vfs.mount(vfs.VfsFat(disk), "/t")
    file = fatfile.FatFile("/t/drive.rpl")
    for slot in range(count):
        file.write(slot, b"\x5a" * layout.SLOT)
    file._write.close()
    vfs.umount("/t")


def read(disk, slot):
    vfs.mount(vfs.VfsFat(disk), "/t")
    file = fatfile.FatFile("/t/drive.rpl")
    block = bytearray(layout.SLOT)
    file.read(slot, block)
    _KEPT.append(file)
    vfs.umount("/t")
    return block


def test_damaged_slots_at_the_start_cost_only_themselves():
    for count in (1, 9, 40, 64):
        disk = new_disk()
        first = recorded(disk, 2000)
        out = first.recorder.writer
        assert out.sequence > 90
        spoil(disk, count)
        again = recorded(disk, 0)
        assert not again.card.made_new and not again.card.unusable
        assert again.card.ring_id == out.ring_id and again.card.session == 2
        assert again.card.drive_slot == out.slot and again.card.sequence == out.sequence


def test_sectors_that_cannot_be_read_cost_only_themselves():
    disk = new_disk()
    out = recorded(disk, 600).recorder.writer
    first = next(n for n in range(600) if bytes(disk_sector(disk, n))[:4] == b"Rp\x01\x04" and is_drive(disk, n))
    disk.bad = set(range(first, first + 9))
    again = recorded(disk, 0)
    assert again.card.ring_id == out.ring_id and again.card.drive_slot == out.slot


def disk_sector(disk, n):
    block = bytearray(layout.SLOT)
    LoggedDisk.readblocks(disk, n, block)
    return block


def is_drive(disk, n):
    return disk_sector(disk, n)[layout.AT_PAYLOAD + 4] == layout.DRIVE_FILE


def test_a_ring_of_which_nothing_can_be_used_is_told():
    disk = new_disk()
    out = recorded(disk, 600).recorder.writer
    spoil(disk, SLOTS)
    again = recorded(disk, 100)
    assert again.card.made_new and again.card.unusable
    assert again.card.ring_id != out.ring_id
    assert not recorded(disk, 0).card.unusable  # told once


def test_a_new_card_has_no_fault():
    assert not recorded(new_disk(), 10).card.unusable


def test_a_new_ring_names_the_one_whose_blocks_lie_in_its_room():
    disk = new_disk()
    out = recorded(disk, 1000).recorder.writer
    vfs.VfsFat.mkfs(disk)  # what formatting does: the blocks stay
    again = recorded(disk, 100)
    birth = read(disk, 0)
    assert layout.verdict(birth) is None and birth[layout.AT_KIND] == layout.BIRTH
    before = bytes(birth[layout.AT_BEFORE : layout.AT_BEFORE + 4])
    assert before == bytes(out.ring_id) != bytes(again.card.ring_id)
    assert not again.card.unusable and again.card.session == 1


def test_setup_groups_come_back_soon_and_carry_a_hash_of_the_whole():
    from binascii import crc32

    from drive import SETUP

    disk = new_disk()
    recorded(disk, 1500)
    at = []
    for slot in range(SLOTS):
        block = read(disk, slot)
        if layout.verdict(block) is None and block[layout.AT_KIND] == layout.SETUP:
            assert layout.get32(block, layout.AT_WHOLE) == crc32(SETUP)
            if block[layout.AT_PART] == 0:
                at.append(slot)
    assert at[:3] == [1, 13, 61], at


def test_a_dead_card_is_no_damage():
    disk = new_disk()
    recorded(disk, 100)
    vfs.mount(vfs.VfsFat(disk), "/t")
    medium = fatfile.FatCard("/t", disk)
    disk.bad = range(8, 600)
    try:
        Drive(medium, SLOTS, 120)
    except OSError:
        return
    finally:
        vfs.umount("/t")
    raise AssertionError("a card that answers no read was taken for a damaged ring")
