"""Which blocks a marked pull's copier takes, one by one, on stores in memory. Runs under MicroPython.

A row a block and a row a second: 5 s before are five blocks, 3 s after three. Blocks 0 and 1 are the setup group.
"""

import gc

from shared_math import layout
from store import copier

SLOTS = 64


class Store:
    def __init__(self, slots=SLOTS):
        self.slots = slots
        self.blocks = {}
        self.silent = False
        self.unreadable = None
        self.writes = []

    def read(self, slot, block):
        if slot == self.unreadable:
            raise OSError(5)
        block[:] = self.blocks.get(slot, bytes(layout.SLOT))

    def write(self, slot, blocks):
        if self.silent:
            raise OSError(5)
        count = len(blocks) // layout.SLOT
        self.writes.append((slot, count))
        for n in range(count):
            self.blocks[slot + n] = bytes(blocks[n * layout.SLOT : (n + 1) * layout.SLOT])


class Writer:
    """As a DriveWriter looks to the copier. first: the sequence of slot 0."""

    setup_parts = 2
    dead = False
    session = 1

    def __init__(self, first=0):
        self.file = Store()
        self.first = self.setup_sequence = self.sequence = first
        self.copier = None
        self.row = 0

    def fell(self, _error):
        self.dead = True

    def slot_of(self, sequence):
        return ((sequence - self.first) & 0xFFFFFFFF) % SLOTS

    def put(self, kind=layout.PACKED):
        block = bytearray(layout.SLOT)
        layout.start_block(block, kind, b"ring")
        layout.put32(block, layout.AT_SEQUENCE, self.sequence)
        layout.seal(block, memoryview(block)[: layout.AT_CRC])
        self.file.blocks[self.slot_of(self.sequence)] = bytes(block)
        before = self.sequence
        self.sequence = (self.sequence + 1) & 0xFFFFFFFF
        self.copier.wrote(before, self.row)


class Place:
    def __init__(self, slot=1):
        self.pulls = Store()
        self.pulls_slot = slot


class Run:
    def __init__(self, first=0, slot=1):
        self.writer = Writer(first)
        self.place = Place(slot)
        self.at = slot
        self.copier = self.writer.copier = copier.PullCopier(self.writer, self.place, 1)
        for _ in range(2):
            self.writer.put(layout.SETUP)

    def rows(self, count, step=True):
        for _ in range(count):
            self.writer.put()
            self.writer.row += 1
            while step and self.copier.step():
                pass

    def copied(self):
        """Numbers of the blocks in pulls, from the first slot on, which stand without a hole."""
        out = []
        blocks = self.place.pulls.blocks
        for n in range(len(blocks)):
            sequence = layout.get32(blocks[(self.at + n) % SLOTS], layout.AT_SEQUENCE)
            out.append((sequence - self.writer.first) & 0xFFFFFFFF)
        return out


def span(first, last):
    return list(range(first, last + 1))


def pull(run, before=10, length=6, after=8):
    """Row n stands in block n + 2."""
    run.rows(before)
    run.copier.opened(run.writer.row)
    run.rows(length)
    run.copier.closed(run.writer.row)
    run.rows(after)
    return run.copied()


def test_five_seconds_before_to_three_after():
    """Opened in row 10, closed in row 16: rows 5 to 19, blocks 7 to 21, behind the setup group."""
    for first, slot in ((0, 1), (0xFFFFFFF0, 1), (0xFFFFFFF8, 1), (0, 50), (0, 2)):
        gc.collect()
        run = Run(first, slot)
        assert pull(run) == [0, 1] + span(7, 21)
        assert not run.copier.active and not run.copier.step()
        for slot, count in run.place.pulls.writes:  # at most four, and none across a multiple of four
            assert 1 <= count <= 4 and slot // 4 == (slot + count - 1) // 4
    assert pull(Run(), before=3) == [0, 1] + span(0, 14)  # the session began 3 s before


def test_blocks_copied_together_when_the_card_was_busy():
    run = Run()
    run.rows(10)
    run.copier.opened(10)
    run.rows(6, step=False)
    run.copier.closed(16)
    run.rows(8, step=False)
    while run.copier.step():
        pass
    assert run.copied() == [0, 1] + span(7, 21)
    assert run.place.pulls.writes == [(1, 3), (4, 4), (8, 4), (12, 4), (16, 2)]


def test_a_second_pull_within_the_time_after_goes_on():
    run = Run()
    run.rows(10)
    run.copier.opened(10)
    run.rows(6)
    run.copier.closed(16)
    run.rows(2)
    run.copier.opened(18)
    run.rows(4)
    run.copier.closed(22)
    run.rows(8)
    assert run.copied() == [0, 1] + span(7, 20)[:13] + [0, 1] + span(20, 27)
    assert sorted(set(run.copied())) == [0, 1] + span(7, 27)


def test_a_flag_takes_its_block_and_ends_no_pull():
    run = Run()
    run.rows(10)
    run.copier.flagged(10)
    run.rows(1)
    assert run.copied() == [12] and run.copier.active
    run.rows(2)
    assert run.copied() == [12] and not run.copier.active
    run = Run()
    run.rows(10)
    run.copier.opened(10)
    run.copier.flagged(11)  # in an open pull it changes nothing
    assert run.copier.until_row == -1
    run.copier.closed(12)
    for row, until in ((14, 15), (15, 15), (16, 16)):
        run.copier.flagged(row)
        assert run.copier.until_row == until


def test_what_is_wanted():
    run = Run()
    assert not run.copier.wants(0)
    run.rows(10)
    run.copier.opened(10)
    assert run.copier.wants(10) and run.copier.wants(10**6)
    run.copier.closed(16)
    assert run.copier.wants(19) and not run.copier.wants(20)


def test_a_block_that_was_damaged_since_is_left_out():
    run = Run()
    run.rows(10)
    run.copier.opened(10)
    run.writer.file.blocks[9] = b"\xa5" * layout.SLOT
    run.writer.file.blocks[11] = run.writer.file.blocks[10]  # another one stands in its place
    run.rows(2)
    assert run.copied() == [0, 1, 7, 8, 10, 12, 13]


def test_a_silent_card_is_told_and_its_blocks_are_copied_when_it_is_back():
    run = Run()
    run.rows(10)
    run.copier.opened(10)
    run.place.pulls.silent = True
    assert run.copier.step() and run.writer.dead
    run.place.pulls.silent = False
    run.rows(3)
    assert run.copied() == [0, 1] + span(7, 14)


def goes_on(run, rounds):
    """The card is got back again and again, and takes a block of the drive each time: rounds until the copier is
    content."""
    for n in range(rounds):
        run.writer.dead = False
        while run.copier.step():
            if run.writer.dead:
                break
        if not run.writer.dead:
            return n
        run.rows(1, step=False)
    return rounds


def test_a_card_that_refuses_copies_alone_is_asked_three_times():
    refusing(0xFFFFFFF3)  # sequences begin anew at 0 after the first refusal
    run = refusing(0)
    assert run.copier.unkept and not run.copier.active and not run.copier.step()
    run.place.pulls.silent = False
    run.rows(8)
    run.copier.opened(run.writer.row)  # the next pull is another matter
    assert not run.copier.unkept
    run.rows(2)
    assert run.copied()[:2] == [0, 1] and run.copied()[-1] == run.writer.row + 1


def refusing(first):
    run = Run(first)
    assert not run.copier.unkept
    run.rows(10)
    run.copier.opened(10)
    run.place.pulls.silent = True
    assert goes_on(run, 20) == 3
    return run


def test_a_card_that_takes_nothing_at_all_is_waited_for():
    run = Run()
    run.rows(10)
    run.copier.opened(10)
    run.place.pulls.silent = True
    for _ in range(20):
        assert run.copier.step() and run.writer.dead
    run.place.pulls.silent = False
    run.rows(3)
    assert run.copied() == [0, 1] + span(7, 14) and not run.copier.unkept


def test_a_block_that_cannot_be_read_is_left_out_and_nothing_else():
    run = Run()
    run.rows(10)
    run.copier.opened(10)
    run.writer.file.unreadable = 9
    assert goes_on(run, 20) == 4  # once together with block 8, which is copied
    run.rows(2)
    assert run.copied() == [0, 1, 7, 8] + span(10, run.writer.row + 1) and run.copier.unkept


class Back:
    """As a card that is back looks to `bind`."""

    def __init__(self, run, pulls_slot, last_sequence, session=1, first_row=0):
        self.pulls = run.place.pulls
        self.pulls_slot = pulls_slot
        self.last = self
        self.session = session
        self.last_pull = LastPull(last_sequence, first_row)


class LastPull:
    def __init__(self, sequence, first_row):
        self.sequence = sequence
        self.first_row = first_row


def opened(rows=4):
    run = Run()
    run.rows(10)
    run.copier.opened(10)
    run.rows(rows)
    assert run.copied() == [0, 1] + span(7, 11 + rows)
    return run


def test_an_open_pull_on_a_card_that_is_back():
    """It lost the last two copies: they are made again, behind the setup group."""
    run = opened()
    assert run.copied()[-1] == 15
    run.copier.bind(Back(run, 10, 13), True)
    run.rows(1)
    assert run.copied()[:9] == [0, 1] + span(7, 13) and run.copied()[9:] == [0, 1, 14, 15, 16]


def test_more_than_a_write_is_never_lost():
    for last, first in ((15, 16), (12, 13), (11, 12), (10, 16), (20, 16)):  # four copies at most
        run = opened()
        run.copier.bind(Back(run, 12, last), True)
        assert run.copier.next == first, last
    run = opened()
    run.copier.bind(Back(run, 12, 13, first_row=-1), True)
    assert run.copier.next == 16


def test_another_card_has_nothing_of_what_was_before():
    for same_ring, session in ((False, 1), (True, 2)):
        run = opened()
        run.writer.sequence = 40
        run.copier.bind(Back(run, 12, 13, session), same_ring)
        assert run.copier.next == run.copier.oldest == 40
    idle = Run()
    idle.rows(3)
    idle.copier.bind(Back(idle, 12, 13), True)
    idle.copier.flagged(3)
    idle.rows(1)
    assert [layout.get32(one, layout.AT_SEQUENCE) for one in idle.place.pulls.blocks.values()] == [5]  # no setup group
