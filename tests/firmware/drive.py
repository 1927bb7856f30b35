"""A recorder on an open card, fed row by row: what the store tests and the power-cut story drive."""

from acquire import health, rows
from store import card, complete, copier, outbox, packer, recorder, writer

BITS = [12, 12, 24, 20, 16, 16, 16, 16, 8]
RATE = 20
SETUP = b'{"period_us":50000,"columns":[],"text":"' + b"x" * 600 + b'"}'


class FakeSampler:
    lost = 0
    late_max_us = 0
    health = health.Health()


class Drive:
    """Opens the card as the logger does at power-on. `row` feeds one row with the given mark and flag."""

    def __init__(self, medium, slots=200, pulls_slots=120):
        self.card = card.Card(medium, slots, pulls_slots)
        self.card.open()
        self.completed = 0 if self.card.made_new else complete.Completer(self.card).run()
        self.queue = rows.RowQueue(len(BITS), 64)
        out = writer.DriveWriter(self.card, SETUP, outbox.Outbox())
        copies = copier.PullCopier(out, self.card, RATE)
        pack = packer.kind()(BITS, RATE)
        self.recorder = recorder.Recorder(self.queue, pack, RATE, out, copies, FakeSampler())
        self.recorder.begin()
        self.random = 7

    def row(self, number, mark=0, flag=0):
        queue = self.queue
        cells = queue.cells
        at = queue.at_head()
        cells[at] = number
        for c in range(4):
            self.random = (self.random * 1103515245 + 12345) & 0x3FFFFFFF
            cells[at + 1 + c] = (self.random >> 6) & ((1 << BITS[c]) - 1)
        cells[at + 5] = number & 0xFFFF
        cells[at + 6] = mark
        cells[at + 7] = flag
        cells[at + 8] = 0
        cells[at + 9] = 1
        queue.head += 1
        self.recorder.pack()
        self.recorder.poll()
