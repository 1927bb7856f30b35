"""One ring file as slots, in a file of the working folder: after a write or a read that failed the place is sought
anew. Runs under MicroPython."""

import os

from test_fatmap import narrow

from shared_math import layout
from store import fatfile, fatmap


class Failing:
    """A file object whose next calls move on by a block and then fail."""

    def __init__(self, file):
        self.file = file
        self.fails = False
        self.seeks = 0

    def _fail(self):
        if self.fails:
            self.fails = False
            self.file.seek(layout.SLOT, 1)
            raise OSError(5)

    def seek(self, at):
        self.seeks += 1
        return self.file.seek(at)

    def readinto(self, block):
        self._fail()
        return self.file.readinto(block)

    def write(self, blocks):
        self._fail()
        return self.file.write(blocks)


def block(number):
    return bytes([number]) * layout.SLOT


def opened(name, slots=8):
    fatfile.make(name, slots)
    file = fatfile.FatFile(name)
    for slot in range(slots):
        file.write(slot, block(slot))
    file._write.flush()
    file._write, file._read = Failing(file._write), Failing(file._read)
    return file


def read(file, slot):
    out = bytearray(layout.SLOT)
    file.read(slot, out)
    assert out == block(out[0])
    return out[0]


def refused(call, *given):
    try:
        call(*given)
    except OSError as error:
        return error.errno
    raise AssertionError("it was taken")


def test_slots_one_after_the_other_are_sought_once():
    file = opened("a.rpl")
    assert [read(file, slot) for slot in (3, 4, 5)] == [3, 4, 5] and file._read.seeks == 1
    assert read(file, 0) == 0 and read(file, 7) == 7 and file._read.seeks == 3
    file.write(2, block(21) + block(22))
    file.write(4, block(23))
    assert file._write.seeks == 1
    file._write.file.flush()
    fresh = fatfile.FatFile("a.rpl")
    assert [read(fresh, slot) for slot in range(8)] == [0, 1, 21, 22, 23, 5, 6, 7] and fresh.slots == 8


def test_a_failed_write_leaves_no_place_to_go_on_from():
    for slot in (0, 5, 6):
        file = opened("b.rpl")
        file.write(4, block(40))
        file._write.fails = True
        assert refused(file.write, 5, block(50)) == 5
        file.write(slot, block(60))
        file._write.file.flush()
        told = [read(file, n) for n in range(8)]
        wanted = [0, 1, 2, 3, 40, 5, 6, 7]
        wanted[slot] = 60
        assert told == wanted, slot


def test_a_failed_read_leaves_no_place_to_go_on_from():
    for slot in (0, 5, 6):
        file = opened("c.rpl")
        assert read(file, 4) == 4
        file._read.fails = True
        assert refused(read, file, 5) == 5
        assert read(file, slot) == slot


def test_a_block_behind_the_end_is_an_error_of_the_card():
    assert refused(read, opened("d.rpl"), 8) == 5


def test_a_file_on_a_card_with_a_map_is_searched_by_it():
    """The map is of the file's own name, in the eight and three letters of a folder's entry; without one, as where the
    name is longer, the file itself is read."""
    opened("drive.rpl")
    mapped = fatfile.FatFile("drive.rpl", narrow()).for_search()
    assert isinstance(mapped, fatmap.FatMap) and mapped.slots == 8
    os.rename("drive.rpl", "other.rpl")
    for file in (fatfile.FatFile("other.rpl", narrow()), fatfile.FatFile("other.rpl")):
        assert file.for_search() is file
    os.rename("other.rpl", "drive_kept1.rpl")
    file = fatfile.FatFile("drive_kept1.rpl", narrow())
    assert file.for_search() is file
