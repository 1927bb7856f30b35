"""Cards that go, come back, are full, read-only, foreign or of another size: nothing lost, nothing overwritten.
MicroPython."""

import gc

import vfs
from disk import LoggedDisk
from drive import BITS, RATE, Drive

from shared_math import layout, unpacking
from store import card, fatfile, outbox, recover

_KEPT = []
_NO_CARD = 19


class PullableDisk(LoggedDisk):
    """`there` false: taken out. `locked`: reads only. `undo`: what the newest writes overwrote, where it is a list."""

    there = True
    locked = False
    undo = None

    def readblocks(self, n, buf):
        if not self.there:
            raise OSError(_NO_CARD)
        LoggedDisk.readblocks(self, n, buf)

    def writeblocks(self, n, buf):
        if not self.there:
            raise OSError(_NO_CARD)
        if self.locked:
            raise OSError(30)
        if self.undo is not None:
            before = bytearray(len(buf))
            LoggedDisk.readblocks(self, n, before)
            self.undo.append((n, before))
            del self.undo[:-3]
        LoggedDisk.writeblocks(self, n, buf)

    def forget(self, writes):
        """The newest writes were taken, but never came out of the card's own memory."""
        for _ in range(writes):
            n, before = self.undo.pop()
            LoggedDisk.writeblocks(self, n, before)


class HalfSilent:
    """A store that, once silent, takes the block but loses the answer."""

    def __init__(self, store):
        self.store = store
        self.slots = store.slots
        self.silent = False

    def read(self, slot, block):
        self.store.read(slot, block)

    def write(self, slot, block):
        self.store.write(slot, block)
        if self.silent:
            raise OSError(5)


def new_disk(sectors=600):
    disk = PullableDisk("disk%d.img" % len(_KEPT), sectors)
    vfs.VfsFat.mkfs(disk)
    _KEPT.append(disk)
    return disk


def mounted(disk, slots=200, pulls_slots=120):
    gc.collect()
    vfs.mount(vfs.VfsFat(disk), "/t")
    drive = Drive(fatfile.FatCard("/t"), slots, pulls_slots)
    _KEPT.append(drive.card)  # its files; the rest is large
    return drive


def rebind(drive, disk):
    """What the logger does when a card is back."""
    vfs.umount("/t")
    vfs.mount(vfs.VfsFat(disk), "/t")
    place = card.Card(fatfile.FatCard("/t"), 200, 120)
    place.open()
    out = drive.recorder.writer
    same = place.ring_id == out.ring_id and not place.made_new
    out.bind(place, same)
    drive.recorder.copier.bind(place, same)
    _KEPT.append(place)


def rows_on(disk, name="drive.rpl"):
    """Row numbers with the rows lost before them: [(first, rows, lost, session)] in the order of the slots."""
    vfs.mount(vfs.VfsFat(disk), "/u")
    file = fatfile.FatFile("/u/" + name)
    _KEPT.append(file)
    block = bytearray(512)
    out = []
    for slot in range(file.slots):
        file.read(slot, block)
        if layout.verdict(block) is None and block[3] == layout.PACKED:
            unpacking.unpack(block, BITS)
            rows = layout.get16(block, 18) & layout.ROWS_MASK
            out.append((layout.get32(block, 14), rows, layout.get16(block, 20), layout.get16(block, 12)))
    vfs.umount("/u")
    return out


def whole(blocks, upto):
    next_row = 0
    for first, rows, lost, _ in blocks:
        assert first == next_row + lost, (first, next_row, lost)
        next_row = first + rows
    assert next_row == upto, next_row


def test_card_out_for_a_while_loses_nothing():
    disk = new_disk()
    drive = mounted(disk)
    for n in range(900):
        if n == 400:
            disk.there = False
        if n == 640:
            disk.there = True
            rebind(drive, disk)
        drive.row(n)
    drive.recorder.finish()
    whole(rows_on(disk), 900)
    assert drive.recorder.writer.outbox.dropped == 0
    assert {b[3] for b in rows_on(disk)} == {1}


def test_card_out_too_long_keeps_the_newest_and_counts_the_rest():
    disk = new_disk()
    drive = mounted(disk)
    for n in range(1600):
        if n == 400:
            disk.there = False
        if n == 1400:
            disk.there = True
            rebind(drive, disk)
        drive.row(n)
    drive.recorder.finish()
    blocks = rows_on(disk)
    whole(blocks, 1600)
    lost = sum([b[2] for b in blocks])
    assert lost == drive.recorder.writer.outbox.dropped
    assert 1000 - (outbox.BLOCKS + 1) * RATE <= lost <= 1000 - (outbox.BLOCKS - 2) * RATE


def test_block_that_was_taken_before_the_silence_stands_once():
    disk = new_disk()
    drive = mounted(disk)
    half = HalfSilent(drive.card.drive)
    drive.recorder.writer.file = half
    for n in range(600):
        if n == 210:
            half.silent = True
        if n == 300:
            rebind(drive, disk)
        drive.row(n)
    drive.recorder.finish()
    whole(rows_on(disk), 600)


def test_another_card_goes_on_as_a_session_of_its_own():
    first, second = new_disk(), new_disk()
    drive = mounted(first)
    for n in range(800):
        if n == 400:
            first.there = False
        if n == 500:
            rebind(drive, second)
        drive.row(n)
    drive.recorder.finish()
    first.there = True
    before, after = rows_on(first), rows_on(second)
    assert before[-1][0] + before[-1][1] == after[0][0]
    whole(before + after, 800)


def test_open_pull_is_copied_on_when_the_card_is_back():
    disk = new_disk()
    drive = mounted(disk)
    for n in range(700):
        if n == 350:
            disk.there = False
        if n == 420:
            disk.there = True
            rebind(drive, disk)
        drive.row(n, 1 if 300 <= n < 450 else 2 if n >= 450 else 0)
    drive.recorder.finish()
    held = rows_on(disk, "pulls.rpl")
    assert held[0][0] <= 300 - 5 * RATE and held[-1][0] <= 450 + 3 * RATE <= held[-1][0] + held[-1][1]
    for one, other in zip(held, held[1:]):
        assert other[0] == one[0] + one[1]


def test_open_pull_goes_on_when_the_card_kept_less_than_it_took():
    for writes in (1, 2, 3):
        disk = new_disk()
        drive = mounted(disk)
        disk.undo = []
        for n in range(700):
            if n == 400:
                disk.there = False
            if n == 420:
                disk.there = True
                disk.forget(writes)
                rebind(drive, disk)
            drive.row(n, 1 if 300 <= n < 450 else 2 if n >= 450 else 0)
        drive.recorder.finish()
        vfs.umount("/t")
        all_rows, held = rows_on(disk), rows_on(disk, "pulls.rpl")
        assert held[0][0] <= 300 - 5 * RATE and held[-1][0] <= 450 + 3 * RATE <= held[-1][0] + held[-1][1]
        # pulls.rpl holds every block of the pull that the drive holds
        assert [b for b in all_rows if held[0][0] <= b[0] <= held[-1][0]] == held


def fails_with(disk, number, slots=200):
    vfs.mount(vfs.VfsFat(disk), "/t")
    try:
        card.Card(fatfile.FatCard("/t"), slots, 120).open()
    except OSError as error:
        assert error.errno == number, error.errno
        return
    finally:
        vfs.umount("/t")
    raise AssertionError("the card was taken")


def test_full_card_is_told():
    fails_with(new_disk(), 28, 4000)


def test_read_only_card_is_told():
    disk = new_disk()
    vfs.mount(vfs.VfsFat(disk), "/t")
    disk.locked = True
    try:
        Drive(fatfile.FatCard("/t"))
        raise AssertionError("a locked card was taken")
    except OSError as error:
        # FAT hides the device's own number behind its own
        assert error.errno in (5, 30), error.errno
    disk.there = False
    vfs.umount("/t")


def test_ring_of_another_size_is_gone_on_with():
    disk = new_disk()
    drive = mounted(disk, slots=90)
    for n in range(300):
        drive.row(n)
    drive.recorder.finish()
    vfs.umount("/t")
    again = mounted(disk, slots=200)
    assert again.card.drive.slots == 90 and again.card.session == 2
    vfs.umount("/t")


def test_clipped_file_without_blocks_is_put_aside():
    disk = new_disk()
    vfs.mount(vfs.VfsFat(disk), "/t")
    fatfile.make("/t/drive.rpl", 20)
    vfs.umount("/t")
    drive = mounted(disk)
    assert drive.card.drive.slots == 200 and drive.card.made_new
    assert fatfile.exists("/t/drive_kept1.rpl")
    vfs.umount("/t")


def test_file_half_made_by_a_cut_is_made_anew():
    disk = new_disk()
    vfs.mount(vfs.VfsFat(disk), "/t")
    fatfile.make("/t/drive.tmp", 20)
    vfs.umount("/t")
    drive = mounted(disk)
    assert drive.card.drive.slots == 200
    assert not fatfile.exists("/t/drive.tmp")
    vfs.umount("/t")


def test_another_loggers_pulls_are_kept():
    disk = new_disk(900)
    drive = mounted(disk)
    for n in range(300):
        drive.row(n, 1 if n > 100 else 0)
    drive.recorder.finish()
    vfs.umount("/t")
    import os

    vfs.mount(vfs.VfsFat(disk), "/t")
    os.remove("/t/drive.rpl")
    vfs.umount("/t")
    held = rows_on(disk, "pulls.rpl")
    again = mounted(disk)
    assert again.card.made_new
    vfs.umount("/t")
    assert rows_on(disk, "pulls_kept1.rpl") == held and held


def test_ring_of_a_newer_version_is_not_overwritten():
    disk = new_disk(900)
    drive = mounted(disk)
    block = bytearray(512)
    for slot in range(12):
        layout.start_block(block, layout.PACKED, b"new!")
        block[layout.AT_VERSION] = layout.VERSION + 1
        layout.seal(block, memoryview(block)[: layout.AT_CRC])
        drive.card.drive.write(slot, block)
    vfs.umount("/t")
    again = mounted(disk)
    assert again.card.made_new
    vfs.umount("/t")
    vfs.mount(vfs.VfsFat(disk), "/u")
    file = fatfile.FatFile("/u/drive_kept1.rpl")
    _KEPT.append(file)
    file.read(5, block)
    assert layout.verdict(block) == "newer version"
    assert recover.newest(file, block).newer_version
    vfs.umount("/u")
