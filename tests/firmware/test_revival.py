"""A card that fell silent is got back, or another one taken: each step on a board that only remembers. MicroPython."""

from shared_math import layout, ticks
from store import revival

RING = b"ring"
PAUSE_US = 2000000


class Board:
    """awake: whether a start of the card is done. fails: name of a call -> the error it raises."""

    def __init__(self):
        self.now = 0
        self.awake = True
        self.there = True
        self.fails = {}
        self.told = []

    def _call(self, name):
        self.told.append(name)
        if name in self.fails:
            raise self.fails[name]

    def ticks_us(self):
        return self.now & ticks.MASK

    def mounted(self):
        return self.there

    def wake_card(self):
        self._call("wake")
        return self.awake

    def let_go(self):
        self._call("let go")
        self.there = False

    def mount(self):
        self._call("mount")
        self.there = True


class File:
    def __init__(self, block):
        self.block = block
        self.fails = None
        self.read_slot = -1

    def read(self, slot, block):
        self.read_slot = slot
        if self.fails:
            raise self.fails
        block[:] = self.block


class Writer:
    """Its last block, of `sequence` - 1, is told to stand in slot 7."""

    error = 5
    ring_id = bytearray(RING)

    def __init__(self, sequence=100, held=99, ring=RING, damaged=False):
        self.writes = 40
        self.sequence = sequence
        self.spare = bytearray(layout.SLOT)
        block = bytearray(layout.SLOT)
        layout.start_block(block, layout.PACKED, ring)
        layout.put32(block, layout.AT_SEQUENCE, held)
        layout.seal(block, memoryview(block)[: layout.AT_CRC])
        if damaged:
            block[100] ^= 1
        self.file = File(block)

    def slot_of(self, sequence):
        assert sequence == (self.sequence - 1) & 0xFFFFFFFF
        return 7


def begun(tried=30, **more):
    board = Board()
    return board, revival.Revival(board, Writer(**more), tried)


def steps(one, count):
    return [one.step() for _ in range(count)]


def test_the_card_that_was_there_is_known_by_its_last_block():
    board, back = begun()
    board.awake = False
    assert steps(back, 3) == [False] * 3 and board.told == ["wake"] * 3  # starting it waits for nothing
    board.awake = True
    assert steps(back, 2) == [False, True] and back.place is None and not back.opens and back.error == 0
    assert back.writer.file.read_slot == 7 and "let go" not in board.told
    assert steps(begun(sequence=0, held=0xFFFFFFFF)[1], 2) == [False, True]  # sequences begin anew at 0


def taken(board, back):
    """Steps from a card that is not the one that was there to the opening of it."""
    assert steps(back, 2) == [False, False] and board.told == ["wake"]
    assert steps(back, 4) == [False] * 4 and not back.opens
    return board.told


def test_another_card_is_let_go_mounted_and_opened():
    for more in ({"held": 98}, {"ring": b"else"}, {"damaged": True}):
        board, back = begun(**more)
        assert taken(board, back) == ["wake", "let go", "wake", "mount"]
        assert steps(back, 2) == [False, False] and back.opens and back.loaded == 3
        assert board.told == ["wake", "let go", "wake", "mount"]  # what is left is the main loop's
    board, back = begun()
    back.writer.file.fails = OSError(19)
    assert taken(board, back) == ["wake", "let go", "wake", "mount"]


def test_a_card_that_took_nothing_since_it_was_back_is_asked_once():
    board, back = begun(tried=40)
    assert steps(back, 2) == [False, False]
    assert (back.error, back.tried, back.writer.file.read_slot) == (5, -1, -1)
    board.now += PAUSE_US
    assert steps(back, 2) == [False, True]


def test_a_card_that_cannot_be_used_is_tried_again_after_two_seconds():
    for start in (0, ticks.MASK - 1000):  # the tick begins anew at 0
        board, back = begun(held=98)
        board.now = start
        board.fails["mount"] = OSError(19)
        assert steps(back, 5) == [False] * 5 and back.error == 19 and not back.opens
        del board.fails["mount"]
        board.told = []
        board.now = start + PAUSE_US - 1
        assert steps(back, 3) == [False] * 3 and board.told == []
        board.now = start + PAUSE_US
        assert steps(back, 2) == [False, False] and board.told == ["wake", "mount"]  # none is mounted


def test_one_that_is_still_mounted_is_checked_again():
    board, back = begun()
    back.failed_with(28)
    board.now = PAUSE_US
    assert back.error == 28 and steps(back, 2) == [False, True] and board.told == ["wake"]


def test_a_start_that_fails_begins_anew_by_itself():
    board, back = begun()
    board.fails["wake"] = OSError(110)
    assert steps(back, 3) == [False] * 3 and back.error == 0
    del board.fails["wake"]
    assert steps(back, 2) == [False, True]
    board, back = begun(held=98)
    assert steps(back, 3) == [False] * 3  # it was let go
    board.fails["wake"] = OSError(110)
    assert steps(back, 3) == [False] * 3 and back.error == 0
    del board.fails["wake"]
    assert steps(back, 2) == [False, False] and board.told[-1] == "mount"


def test_a_full_heap_is_waited_for_as_a_card_that_cannot_be_used():
    board, back = begun(held=98)
    board.fails["mount"] = MemoryError()
    assert steps(back, 5) == [False] * 5 and back.error == 5
    board.fails = {}
    board.told = []
    assert steps(back, 1) == [False] and board.told == []
    board.now = PAUSE_US
    assert steps(back, 5) == [False] * 5 and back.opens and back.loaded == 3


def test_a_card_that_could_not_be_opened_is_no_longer_to_be():
    board, back = begun(held=98)
    steps(back, 8)
    assert back.opens
    back.failed_with(5)
    assert not back.opens and back.error == 5
    board.now = PAUSE_US
    assert steps(back, 1) == [False] and board.told[-1] == "wake"
