"""What of a pull is copied after a power cut, block by block, on rings in memory. Runs under MicroPython.

20 rows a block and 20 a second: 5 s are five blocks. A drive has its setup group in two parts, then its row blocks.
"""

from shared_math import layout
from store import complete, recover

RING = b"ring"
SETUP = b'{"period_us": 50000}'


class Store:
    def __init__(self, slots):
        self.slots = slots
        self.blocks = {}
        self.broken = ()  # slots whose sectors the card can't read
        self.refused = ()  # and those that it does not write

    def read(self, slot, block):
        if slot in self.broken:
            raise OSError(5)
        block[:] = self.blocks.get(slot, bytes(layout.SLOT))

    def write(self, slot, block):
        assert 0 <= slot < self.slots
        if slot in self.refused:
            raise OSError(30)
        self.blocks[slot] = bytes(block)


class Card:
    """A drive of sessions, each (row blocks, numbers of those that belong into pulls.rpl), and empty pulls.

    at: slot of the first block. bad: slots that are damaged. have: the sequence up to which pulls.rpl has row blocks.
    """

    def __init__(self, *sessions, at=1, slots=128, bad=(), have=None, setup=SETUP, pulls_slot=1):
        self.drive, self.pulls = Store(slots), Store(64)
        self.ring_id = RING
        self.pulls_slot = pulls_slot
        self.unkept = False
        self.last, self.last_pull = recover.Newest(), recover.Newest()
        self.sequence = 0
        self.slot = at
        self.where = {}  # (session, row block) -> slot
        for number, (count, kept) in enumerate(sessions):
            for part in range(2):
                self.put(layout.SETUP, number + 1, part, setup)
            for n in range(count):
                self.where[number + 1, n] = self.slot
                self.put(layout.PACKED, number + 1, n, None, n in kept)
        for slot in bad:
            self.drive.write(slot, b"\xa5" * layout.SLOT)
        if have is not None:
            self.last_pull.sequence = have
            self.last_pull.first_row = 0

    def put(self, kind, session, number, text, kept=False):
        block = bytearray(layout.SLOT)
        layout.start_block(block, kind, RING)
        layout.put32(block, layout.AT_SEQUENCE, self.sequence)
        layout.put16(block, layout.AT_SESSION, session)
        if kind == layout.SETUP:
            half = len(text) // 2
            piece = text[half:] if number else text[:half]
            layout.put16(block, layout.AT_LENGTH, len(piece))
            block[layout.AT_PART], block[layout.AT_PARTS] = number, 2
            block[layout.AT_PAYLOAD : layout.AT_PAYLOAD + len(piece)] = piece
        else:
            layout.put32(block, layout.AT_FIRST_ROW, 20 * number)
            layout.put16(block, layout.AT_ROWS, 20 | (layout.KEPT if kept else 0))
        layout.seal(block, memoryview(block)[: layout.AT_CRC])
        self.drive.write(self.slot, block)
        self.last.take(self.slot, block)
        self.sequence += 1
        self.slot = (self.slot + 1) % self.drive.slots

    def sequence_of(self, n, session=1):
        return layout.get32(self.drive.blocks[self.where[session, n]], layout.AT_SEQUENCE)

    def completed(self):
        """What was copied, in the order of the slots: "s0" and "s1" for the parts of a setup, numbers of row blocks."""
        first = self.pulls_slot
        copied = complete.Completer(self).run()
        assert len(self.pulls.blocks) == copied and self.pulls_slot == (first + copied) % self.pulls.slots
        out = []
        for n in range(copied):
            block = self.pulls.blocks[(first + n) % self.pulls.slots]
            assert layout.verdict(block) is None
            if block[layout.AT_KIND] == layout.SETUP:
                out.append("s%d" % block[layout.AT_PART])
            else:
                out.append(layout.get32(block, layout.AT_FIRST_ROW) // 20)
        return out


def span(first, last):
    return list(range(first, last + 1))


LEAD = ["s0", "s1"]


def test_a_pull_of_which_nothing_was_copied():
    """It begins in block 12, row 240; 5 s before is row 140, where block 7 begins."""
    assert Card((20, span(12, 19))).completed() == LEAD + span(7, 19)
    assert Card((20, span(12, 19)), have=0).completed() == LEAD + span(7, 19)  # an older pull's blocks are there
    assert Card((20, [12])).completed() == LEAD + span(7, 12)
    # where the session begins less than 5 s before, its setup group is met once more: a block counts once for a reader
    assert Card((20, span(3, 19))).completed() == LEAD + LEAD + span(0, 19)
    assert Card((20, ())).completed() == []


def test_a_pull_that_was_copied_in_part():
    card = Card((20, span(12, 19)))
    for upto in (12, 15, 18):
        assert Card((20, span(12, 19)), have=card.sequence_of(upto)).completed() == span(upto + 1, 19)
    assert Card((20, span(12, 19)), have=card.sequence_of(19)).completed() == []
    # its lead-in is there up to block 9: no setup again, and the rest without a hole
    assert Card((20, span(12, 19)), have=card.sequence_of(9)).completed() == LEAD + span(10, 19)


def test_a_sector_that_refuses_keeps_no_start_from_recording():
    card = Card((20, span(12, 19)))
    card.pulls.refused = (5,)
    assert card.completed() == LEAD + [7, 8] and card.unkept  # slots 1 to 4
    assert not Card((20, span(12, 19))).unkept


def test_blocks_behind_the_pull_are_not_copied():
    for behind in (1, 15):
        assert Card((20 + behind, span(12, 19))).completed() == LEAD + span(7, 19)
    assert Card((36, span(12, 19))).completed() == []  # 16: copying never lags so far
    card = Card((36, span(12, 19)), at=112)  # the same with one of its blocks in slot 1
    assert card.where[1, 15] == 1 and card.completed() == []


def test_an_older_pull_is_another_one():
    assert Card((30, span(5, 8) + span(20, 29))).completed() == LEAD + span(15, 29)


def test_damaged_blocks_are_passed_over():
    where = Card((30, span(12, 29))).where
    bad = [where[1, n] for n in span(15, 22)]  # eight are a run
    assert Card((30, span(12, 29)), bad=bad).completed() == LEAD + span(7, 14) + span(23, 29)
    bad = [where[1, n] for n in span(15, 23)]  # nine are more than damage does: what lies before is not reached
    assert Card((30, span(12, 29)), bad=bad).completed() == LEAD + span(24, 29)
    bad = [where[1, n] for n in span(13, 20)] + [where[1, n] for n in span(22, 28)]  # two runs, one block between
    assert Card((30, span(12, 29)), bad=bad).completed() == LEAD + span(7, 12) + [21, 29]
    bad = [where[1, 9]]  # within the lead-in: it begins behind it
    assert Card((30, span(12, 29)), bad=bad).completed() == LEAD + span(10, 29)
    bad = [where[1, 29]]
    assert Card((30, span(12, 29)), bad=bad).completed() == LEAD + span(7, 28)
    card = Card((30, span(12, 29)))
    card.drive.broken = [where[1, n] for n in (9, 20, 29)]
    assert card.completed() == LEAD + span(10, 19) + span(21, 28)


def test_a_damaged_setup():
    one = Card((20, span(12, 19)), bad=[1])
    assert one.completed() == span(12, 19)  # without its first part no group, and the pull alone
    assert Card((20, span(12, 19)), bad=[2]).completed() == span(12, 19)
    assert Card((20, span(12, 19)), setup=b'{"period": 50000}  ').completed() == span(12, 19)


def test_a_pull_belongs_to_its_session():
    """Session 2 begins with a pull, right behind one of session 1."""
    assert Card((10, span(5, 9)), (8, span(2, 7))).completed() == LEAD + LEAD + span(0, 7)
    assert Card((10, span(5, 9)), (8, ())).completed() == []
    other = Card((20, span(12, 19)))
    other.ring_id = b"else"
    assert other.completed() == []


def test_rings_that_come_round():
    """The drive's last slot is 127, the pulls' 63."""
    assert Card((20, span(12, 19)), at=120).completed() == LEAD + span(7, 19)
    assert Card((20, span(12, 19)), at=126).completed() == LEAD + span(7, 19)
    assert Card((20, span(12, 19)), at=113).completed() == LEAD + span(7, 19)
    assert Card((20, span(12, 19)), pulls_slot=60).completed() == LEAD + span(7, 19)
    assert Card((20, [17])).completed() == LEAD + span(12, 17)


def test_a_pull_in_the_slot_0():
    card = Card((20, [17]), at=109)  # the two setups at 109 and 110, block 17 at 0
    assert card.where[1, 17] == 0 and card.completed() == LEAD + span(12, 17)
