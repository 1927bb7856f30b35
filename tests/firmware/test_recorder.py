"""Which blocks wait, which are written, and how lost rows add up, on a card that only remembers. MicroPython."""

import json

from acquire import health, rows
from shared_math import layout, unpacking
from store import copier, outbox, packer, recorder, writer

RATE = 20
BITS = [12, 16, 16, 8]  # mark, flag, late, lamp


class FakeStore:
    def __init__(self, slots=64):
        self.slots = slots
        self.blocks = {}
        self.writes = []

    def read(self, slot, block):
        block[:] = self.blocks.get(slot, bytes(layout.SLOT))

    def write(self, slot, blocks):
        self.writes.append((slot, len(blocks) // layout.SLOT))
        for n in range(len(blocks) // layout.SLOT):
            self.blocks[slot + n] = bytes(blocks[n * layout.SLOT : (n + 1) * layout.SLOT])


class FakePlace:
    ring_id = b"ring"
    sequence = drive_slot = pulls_slot = session = 1

    def __init__(self):
        self.drive = FakeStore()
        self.pulls = FakeStore()


class FakeSampler:
    lost = 0
    late_max_us = 0

    def __init__(self):
        self.health = health.Health()


class Run:
    """A recorder at 20 rows a second or `rate`; `row` feeds one row and asks the card, if it is `ready`."""

    def __init__(self, rate=RATE):
        self.place = FakePlace()
        self.queue = rows.RowQueue(len(BITS), 64)
        self.sampler = FakeSampler()
        out = writer.DriveWriter(self.place, b"{}", outbox.Outbox())
        copies = copier.PullCopier(out, self.place, rate)
        self.recorder = recorder.Recorder(self.queue, packer.kind()(BITS, rate), rate, out, copies, self.sampler)
        self.recorder.begin()
        self.box = out.outbox

    def row(self, number, ready=True, values=(0, 0, 0, 0)):
        cells = self.queue.cells
        at = self.queue.at_head()
        cells[at] = number
        for c in range(len(BITS)):
            cells[at + 1 + c] = values[c]
        self.queue.head += 1
        self.recorder.pack()
        self.recorder.poll(ready)

    def written(self):
        """(first row, rows, lost before it) of each row block on the card."""
        out = []
        for slot in sorted(self.place.drive.blocks):
            block = self.place.drive.blocks[slot]
            if block[layout.AT_KIND] == layout.PACKED:
                lost = layout.get16(block, layout.AT_LOST)
                out.append((layout.get32(block, layout.AT_FIRST_ROW), layout.get16(block, layout.AT_ROWS), lost))
        return out


def test_a_block_cut_short_by_a_hole_waits_for_the_next_whole_one():
    run = Run()
    for n in range(5):
        run.row(n)
    for n in range(8, 28):  # a second's worth behind 3 missing rows
        run.row(n)
    assert run.written() == [] and run.box.held == 1
    run.row(28)  # 20 rows after 8: that block is whole
    run.row(29)
    assert run.written() == [(0, 5, 0), (8, 20, 3)] and run.box.held == 0


def test_blocks_are_written_together_up_to_a_multiple_of_eight():
    """Behind the birth and a setup block the first one is in slot 2."""
    run = Run()
    for n in range(201):
        run.row(n, ready=False)
    assert run.box.held == 10
    for _ in range(12):
        run.recorder.poll()
    several = [(slot, count) for slot, count in run.place.drive.writes if count > 1]
    assert run.box.held == 0 and several[0] == (2, 6) and len(run.written()) == 10
    for slot, count in run.place.drive.writes:
        assert slot // 8 == (slot + count - 1) // 8


def test_a_mark_or_a_flag_begins_no_block():
    run = Run()
    for n in range(22):
        run.row(n, values=(0 if n < 7 else 2, 0 if n < 9 else 4, 0, 0))
    assert run.written() == [(0, 20 | layout.KEPT, 0)]  # it tells of a flag


def test_a_block_that_is_full_before_its_time_loses_no_row():
    """24 bits a row change at random: some 160 rows fill a block, which 400 of one second do not fit."""
    run = Run(400)
    random, fed = 5, []
    for n in range(400):
        random = (random * 1103515245 + 12345) & 0x3FFFFFFF
        fed.append((2, 0, random >> 8 & 0xFFFF, random >> 4 & 0xFF))
        run.row(n, values=fed[-1])
    run.recorder.finish()
    told = []
    for slot in sorted(run.place.drive.blocks):
        block = run.place.drive.blocks[slot]
        if block[layout.AT_KIND] == layout.PACKED:
            assert layout.get32(block, layout.AT_FIRST_ROW) == len(told)
            columns = unpacking.unpack(block, BITS)
            told.extend([tuple([column[n] for column in columns]) for n in range(len(columns[0]))])
    assert told == fed and len(run.written()) == 3


def test_a_whole_block_stays_due_when_a_hole_follows_before_the_card_is_ready():
    run = Run()
    for n in range(21):
        run.row(n, ready=False)
    run.row(25, ready=False)  # closes the block of row 20, not worth a write by itself
    assert run.box.held == 2 and run.written() == []
    run.row(26)
    assert run.written() == [(0, 20, 0), (20, 1, 0)]


def test_blocks_of_holes_alone_are_written_when_more_than_half_of_the_room_is_taken():
    run = Run()
    for n in range(13):
        run.row(3 * n)
    assert run.box.held == 12 == outbox.BLOCKS // 2 and run.written() == []
    run.row(39)  # closes the 13th
    for _ in range(10):
        run.recorder.poll()
    assert run.box.held == 0 and len(run.written()) == 13


def test_health_counts_rows_that_the_sampler_and_the_card_lost():
    run = Run()
    for n in range(20):
        run.row(n)
    run.sampler.lost = 7
    run.box.dropped = 11
    run.recorder.finish()
    (block,) = [b for b in run.place.drive.blocks.values() if b[layout.AT_KIND] == layout.HEALTH]
    assert (block[layout.AT_PART], block[layout.AT_PARTS]) == (0, 1)
    text = json.loads(block[layout.AT_PAYLOAD : layout.AT_PAYLOAD + layout.get16(block, layout.AT_LENGTH)])
    assert (text["rows"], text["lost"]) == (9, 18)  # 20 - 11, and 7 + 11: each row counts once


def test_no_block_is_dropped_while_it_is_being_written():
    """One turn may close several blocks: those that have room beside the blocks that the card is taking."""
    run = Run()
    for _ in range(outbox.BLOCKS - 2):
        run.box.next()
        run.box.add()
    run.recorder.writer.lent = True
    cells = run.queue.cells
    for number in range(0, 60, 6):  # every row stands behind a hole, and closes the block before it
        at = run.queue.at_head()
        cells[at] = number
        for c in range(len(BITS)):
            cells[at + 1 + c] = 0
        run.queue.head += 1
    for _ in range(4):
        run.recorder.pack()
    assert run.box.dropped == 0 and run.box.held == outbox.BLOCKS - 1 and run.queue.waiting()
    run.recorder.writer.lent = False
    run.box.taken(8)
    for _ in range(4):
        run.recorder.pack()
    assert run.box.dropped == 0 and not run.queue.waiting()


def test_health_tells_the_clock_soon_once_it_was_set():
    run = Run()
    for n in range(25):
        run.row(n)
    assert [b for b in run.place.drive.blocks.values() if b[layout.AT_KIND] == layout.HEALTH] == []
    run.sampler.row = 27
    run.recorder.set_clock(lambda: "2031-05-06T07:08:09Z")
    run.recorder.poll()
    (block,) = [b for b in run.place.drive.blocks.values() if b[layout.AT_KIND] == layout.HEALTH]
    text = json.loads(block[layout.AT_PAYLOAD : layout.AT_PAYLOAD + layout.get16(block, layout.AT_LENGTH)])
    assert (text["utc"], text["row"]) == ("2031-05-06T07:08:09Z", 27)


def _fill(box, rows_lost):
    for count, lost in rows_lost:
        block = box.next()
        layout.put16(block, layout.AT_ROWS, count)
        layout.put16(block, layout.AT_LOST, lost)
        box.add()


def test_rows_of_dropped_blocks_add_up_before_the_oldest_that_is_kept():
    box = outbox.Outbox()
    _fill(box, [(10, 3), (5 | layout.KEPT, 2), (7, 0)] + [(1, 0)] * (outbox.BLOCKS - 3))
    _fill(box, [(1, 0)])
    # 10 rows thrown away, 3 missing before them, 2 missing between them and the block behind
    assert box.dropped == 10 and layout.get16(box.oldest(), layout.AT_LOST) == 10 + 3 + 2
    _fill(box, [(1, 0)])
    assert box.dropped == 10 + 5 and layout.get16(box.oldest(), layout.AT_LOST) == 15 + 5 + 0
    assert box.held == outbox.BLOCKS


def test_more_lost_rows_than_the_field_holds_stay_at_its_most():
    box = outbox.Outbox()
    _fill(box, [(100, 0xFFFF - 99), (5, 0)] + [(1, 0)] * (outbox.BLOCKS - 2))
    _fill(box, [(1, 0)])
    assert layout.get16(box.oldest(), layout.AT_LOST) == 0xFFFF  # 65,536 would read as none


def test_writes_and_copies_take_turns_until_a_third_of_the_room_is_taken():
    run = Run()
    told = []
    run.recorder.writer.flush = lambda: bool(told.append("write"))  # never done
    run.recorder.copier.step = lambda: told.append("copy")
    for held, wanted in ((7, ["write", "copy"] * 2), (8, ["write"] * 4), (7, ["copy", "write"] * 2)):
        run.box.held = held
        run.recorder.due = True
        told.clear()
        for _ in range(4):
            run.recorder.poll()
        assert told == wanted, held
    told.clear()
    run.recorder.poll(ready=False)
    run.recorder.writer.dead = True
    run.recorder.poll()
    assert told == []
