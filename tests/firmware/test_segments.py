"""A ring in small files, on a folder of the working folder: which file holds which slot, what a new lap replaces. Runs
under MicroPython."""

import os

from shared_math import layout
from store import segments


def block(number):
    return bytes([number]) * layout.SLOT


def new(name, slots=96):
    os.mkdir(name)
    return segments.Segments(name, slots)


def told(ring, first, end):
    """The number that fills each slot, 0 where none was written."""
    out = []
    held = bytearray(b"x" * layout.SLOT)
    for slot in range(first, end):
        ring.read(slot, held)
        assert held == block(held[0])
        out.append(held[0])
    return out


def size(path):
    return os.stat(path)[6] // layout.SLOT


def errno_of(call, *given):
    try:
        call(*given)
    except OSError as error:
        return error.errno
    raise AssertionError("it was taken")


def test_slots_are_whole_files_of_32():
    assert [segments.Segments("none", slots).slots for slots in (96, 127, 128, 31)] == [96, 96, 128, 0]
    ring = new("a")
    assert told(ring, 0, 96) == [0] * 96 and ring.for_search() is ring
    for slot in range(40):
        ring.write(slot, block(slot + 1))
    assert sorted(os.listdir("a")) == ["0000.rpl", "0001.rpl"] and (size("a/0000.rpl"), size("a/0001.rpl")) == (32, 8)
    assert told(ring, 0, 96) == list(range(1, 41)) + [0] * 56


def test_blocks_written_together_may_lie_in_two_files():
    ring = new("b")
    ring.write(0, b"".join([block(n + 1) for n in range(30)]))
    ring.write(30, b"".join([block(n + 31) for n in range(4)]))
    assert told(ring, 0, 36) == list(range(1, 35)) + [0, 0] and size("b/0000.rpl") == 32
    ring.write(34, block(35))
    assert told(ring, 30, 32) == [31, 32]
    held = ring._read
    assert told(ring, 0, 32) == list(range(1, 33)) and ring._read is held  # it is opened once
    assert told(ring, 32, 36) == [33, 34, 35, 0]


def test_the_first_slot_of_a_file_replaces_what_the_lap_before_left():
    ring = new("c")
    for slot in range(64):
        ring.write(slot, block(1))
    ring.write(0, block(2))
    assert told(ring, 0, 64) == [2] + [0] * 31 + [1] * 32
    ring.write(1, block(3))
    assert told(ring, 0, 3) == [2, 3, 0] and size("c/0000.rpl") == 2


def test_what_is_appended_is_seen_by_a_reader_that_had_the_file_open():
    ring = new("d")
    ring.write(0, block(1))
    assert told(ring, 0, 2) == [1, 0]
    ring.write(1, block(2))
    assert told(ring, 0, 3) == [1, 2, 0]
    assert told(ring, 32, 33) == [0] and told(ring, 1, 2) == [2]


def test_another_start_goes_on_in_the_file():
    ring = new("e")
    for slot in range(5):
        ring.write(slot, block(slot + 1))
    again = segments.Segments("e", 96)
    again.write(5, block(6))
    assert told(again, 0, 7) == [1, 2, 3, 4, 5, 6, 0]
    again = segments.Segments("e", 96)
    again.write(3, block(9))  # behind a damaged end: those that follow are of no use
    assert told(again, 0, 6) == [1, 2, 3, 9, 5, 6]


def test_slots_that_are_left_out_are_zeros():
    ring = new("f")
    ring.write(0, block(1))
    again = segments.Segments("f", 96)
    again.write(3, block(4))
    assert told(again, 0, 5) == [1, 0, 0, 4, 0] and size("f/0000.rpl") == 4
    again.write(37, block(5))  # and where the file itself is not there
    assert told(again, 32, 39) == [0, 0, 0, 0, 0, 5, 0] and size("f/0001.rpl") == 6


class Short:
    """A file that takes one byte less."""

    def write(self, blocks):
        return len(blocks) - 1

    def flush(self):
        raise AssertionError("what was not taken is not flushed")

    def close(self):
        pass


def test_a_card_that_takes_less_is_full_or_broken():
    ring = new("g")
    ring.write(0, block(1))
    ring._write.close()
    ring._write = Short()
    assert errno_of(ring.write, 1, block(2)) == 5


def test_a_file_that_cannot_be_read_is_not_taken_for_one_that_is_not_there():
    ring = new("h")
    ring.write(0, block(1))
    ring.folder = "h/0000.rpl"  # a file where the folder should be
    assert errno_of(told, ring, 32, 33) == 20
    ring.folder = "h"
    assert told(ring, 0, 1) == [1] and told(ring, 64, 65) == [0]


def test_rings_of_a_volume():
    os.mkdir("v")
    card = segments.SegmentCard("v")
    assert not card.exists("drive")
    card.make("drive", 96, block(7))
    assert card.exists("drive") and told(card.open("drive", 96), 0, 2) == [7, 0]
    card.keep("drive")
    assert not card.exists("drive") and told(segments.Segments("v/drive_kept1", 96), 0, 1) == [7]
    card.make("drive", 96, block(8))
    card.keep("drive")
    assert sorted(os.listdir("v")) == ["drive_kept1", "drive_kept2"]
    assert told(segments.Segments("v/drive_kept2", 96), 0, 1) == [8]
