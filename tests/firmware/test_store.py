"""Rows to ring files on a real FAT volume: nothing lost, marks copied, restart behind the newest block. MicroPython."""

import gc

import vfs
from disk import LoggedDisk
from drive import BITS, RATE, Drive

from shared_math import layout, unpacking
from store import copier, fatfile

_KEPT = []  # a collected file object would close itself on a disk that is gone


class FakeWriter:
    def __init__(self, sequence):
        self.sequence = sequence


class FakePlace:
    pulls = None
    pulls_slot = 1


def mounted(disk):
    gc.collect()
    vfs.mount(vfs.VfsFat(disk), "/t")
    drive = Drive(fatfile.FatCard("/t"))
    _KEPT.append(drive.card)  # its files; the rest is large
    return drive


def finish(drive):
    drive.recorder.finish()
    vfs.umount("/t")


def new_disk():
    gc.collect()
    disk = LoggedDisk("disk%d.img" % len(_KEPT), 600)
    _KEPT.append(disk)
    vfs.VfsFat.mkfs(disk)
    return disk


def blocks(disk, name):
    """(slot, sequence, session, kind, first row, rows) of every usable block."""
    vfs.mount(vfs.VfsFat(disk), "/t")
    file = fatfile.FatFile("/t/" + name)
    _KEPT.append(file)
    block = bytearray(512)
    out = []
    for slot in range(file.slots):
        file.read(slot, block)
        if layout.verdict(block) is None:
            kind = block[3]
            is_rows = kind == layout.PACKED
            if is_rows:
                assert len(unpacking.unpack(block, BITS)[0]) == layout.get16(block, layout.AT_ROWS) & layout.ROWS_MASK
            out.append(
                (
                    slot,
                    layout.get32(block, 8),
                    layout.get16(block, 12),
                    kind,
                    layout.get32(block, 14) if is_rows else -1,
                    layout.get16(block, 18) & layout.ROWS_MASK if is_rows else 0,
                )
            )
    vfs.umount("/t")
    return out


def test_every_row_is_there_once_and_setup_leads():
    disk = new_disk()
    drive = mounted(disk)
    for n in range(600):
        drive.row(n)
    finish(drive)
    got = blocks(disk, "drive.rpl")
    assert [b[3] for b in got[:3]] == [layout.BIRTH, layout.SETUP, layout.SETUP]
    assert [b[1] for b in got] == list(range(len(got)))
    next_row = 0
    for _, _, session, kind, first, count in got:
        if kind == layout.PACKED:
            assert session == 1 and first == next_row and 1 <= count <= RATE
            next_row = first + count
    assert next_row == 600


def test_no_metadata_is_written_while_recording():
    disk = new_disk()
    drive = mounted(disk)
    before = drive.recorder.writer.sequence
    disk.logging = True
    for n in range(5000):
        drive.row(n)
    disk.logging = False
    written = drive.recorder.writer.sequence - before
    assert written > drive.card.drive.slots  # the wrap is in it
    assert (disk.writes, disk.longest) == (written, 1)
    finish(drive)


def test_pulls_hold_five_seconds_before_and_three_after():
    disk = new_disk()
    drive = mounted(disk)
    for n in range(700):
        drive.row(n, 1 if 300 <= n < 400 else 2 if n >= 400 else 0)
    finish(drive)
    got = blocks(disk, "pulls.rpl")
    assert [b[3] for b in got[:3]] == [layout.BIRTH, layout.SETUP, layout.SETUP]
    assert [b[0] for b in got] == list(range(len(got)))  # slot by slot
    held = [b for b in got if b[3] == layout.PACKED]
    for one, other in zip(held, held[1:]):
        assert other[4] == one[4] + one[5]
    first, last = held[0], held[-1]
    assert first[4] <= 300 - 5 * RATE < first[4] + first[5]
    assert last[4] <= 400 + 3 * RATE <= last[4] + last[5]


def test_five_seconds_of_many_blocks():
    for blocks_a_second, sequence in ((24, 0), (90, 0), (90, (1 << 32) - 1000)):
        copies = copier.PullCopier(FakeWriter(sequence), FakePlace, 1000)
        for n in range(1500):
            before = copies.writer.sequence
            copies.writer.sequence = (before + 1) & 0xFFFFFFFF
            copies.wrote(before, n * 1000 // blocks_a_second)
            if n in (3, 100, 140, 143, 144, 145, 600, 1499):
                row = n * 1000 // blocks_a_second
                begin = (copies._block_before(row - 5000) - sequence) & 0xFFFFFFFF
                wanted = max(0, n - 5 * blocks_a_second)
                assert max(0, wanted - 17) <= begin <= wanted, (n, begin, wanted)


def test_a_late_flag_is_copied_too():
    disk = new_disk()
    drive = mounted(disk)
    for n in range(900):
        drive.row(n, 1 if 100 <= n < 200 else 2 if n >= 200 else 0, 2 if n >= 700 else 0)
    finish(drive)
    held = [b for b in blocks(disk, "pulls.rpl") if b[3] == layout.PACKED]
    assert any([b[4] <= 700 < b[4] + b[5] for b in held])
    assert not any([b[4] <= 600 < b[4] + b[5] for b in held])


def test_a_hole_in_the_rows_is_told():
    disk = new_disk()
    drive = mounted(disk)
    for n in range(100):
        drive.row(n if n < 50 else n + 7)
    finish(drive)
    vfs.mount(vfs.VfsFat(disk), "/t")
    file = fatfile.FatFile("/t/drive.rpl")
    block = bytearray(512)
    found = []
    for slot in range(60):
        file.read(slot, block)
        if layout.verdict(block) is None and block[3] == layout.PACKED and layout.get16(block, layout.AT_LOST):
            found.append((layout.get32(block, 14), layout.get16(block, layout.AT_LOST)))
    vfs.umount("/t")
    assert found == [(57, 7)]


def test_restart_goes_on_behind_the_newest_block_after_any_lap():
    disk = new_disk()
    expected = None
    for session in range(1, 5):
        drive = mounted(disk)
        assert drive.card.session == session
        if expected:
            assert (drive.card.sequence, drive.card.drive_slot, drive.card.pulls_slot) == expected
        for n in range(1100):
            drive.row(n, 1 if 300 <= n < 340 else 2 if n >= 340 else 0)
        drive.recorder.finish()
        out = drive.recorder.writer
        expected = (out.sequence, out.slot, drive.recorder.copier.slot)
        vfs.umount("/t")


def test_card_full_leaves_no_clipped_file():
    import os

    disk = new_disk()
    vfs.mount(vfs.VfsFat(disk), "/t")
    try:
        fatfile.make("/t/drive.rpl", 4000)
        raise AssertionError("a card of 600 sectors took 4000")
    except OSError as error:
        assert error.errno == 28
    assert "drive.rpl" not in os.listdir("/t")
    vfs.umount("/t")
