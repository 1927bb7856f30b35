"""Rows from the queue into blocks, and marks to the copier. Runs in the main loop."""

import json

from shared_math import layout, pace, ticks
from shared_math.compat import const, zeros
from store import outbox
from store.packer import AT_MARK, FIRST_ROW, FLAG, MARK, MOST_ROWS, NEXT_ROW, SPAN

_HEALTH_S = const(60)
_LEAST_ROWS = const(8)


def _nothing():
    pass


class Recorder:
    """queue: rows.RowQueue. packer: of its columns. sampler: for the counts of lost and late rows."""

    def __init__(self, queue, packer, rate_hz, writer, copier, sampler):
        self.queue = queue
        self.rate_hz = rate_hz
        self.writer = writer
        self.copier = copier
        self.sampler = sampler
        self.packer = packer
        self.span = zeros(SPAN)
        self.span[MOST_ROWS] = rate_hz
        self.span[AT_MARK] = queue.stride - 4
        self.hole = 0  # rows missing before the open block
        self.written_rows = 0
        self.health_row = _HEALTH_S * rate_hz
        self.clock = None  # gives the wall clock, once the PC has set it in this session
        self.due = False  # blocks wait that are worth a write
        # Packed in one turn, so that what else is due comes to pass; more than come in one, or it never catches up
        self.most_rows = max(_LEAST_ROWS, 2 * rate_hz // pace.SLOW_TURNS_HZ)
        self.copy_next = False

    def begin(self):
        """Write the setup that the session's rows need."""
        self.writer.wrote = self.copier.wrote
        self.writer.write_setup(self.span[FIRST_ROW])

    def set_clock(self, clock):
        """The wall clock was set: the next health block, which comes soon, tells it. clock: gives it as text."""
        self.clock = clock
        self.health_row = self.span[FIRST_ROW]

    def poll(self, ready=True):
        """Where the card is ready one write, or one step of copying; by turns where both are due. After either the card
        is busy: what follows would wait for it."""
        writer = self.writer
        if writer.dead or not ready:
            return
        waiting = writer.outbox.held
        if self.due and not (self.copy_next and waiting < outbox.BLOCKS // 3):  # copies can wait: they are on the card
            self.due = not writer.flush()
            self.copy_next = True
        elif self.span[FIRST_ROW] >= self.health_row and not waiting:
            self._write_health()
        else:
            self.copier.step()
            self.copy_next = False

    def holds(self, marks):
        """Whether a row is packed that holds the marks as they are now."""
        return self.span[MARK] == marks.mark and self.span[FLAG] == marks.flag

    def pack(self):
        """Rows of the queue into the open block: those that waited at the call, `most_rows` at most."""
        queue = self.queue
        out = self.writer
        cells = queue.cells
        mask = queue.mask
        tail = queue.tail
        left = (queue.head - tail) & ticks.MASK
        if left > self.most_rows:
            left = self.most_rows
        while left:
            if out.lent and out.outbox.held >= outbox.BLOCKS - 1:
                return  # the oldest block, which would be dropped for a new one, is just being written
            place = tail & mask
            count = min(left, mask + 1 - place)
            at = place * queue.stride
            done = self.packer.add_run(cells, at, queue.stride, count, self.span)
            if not done:
                self._row(cells, at)
                done = 1
            left -= done
            tail = (tail + done) & ticks.MASK
            queue.tail = tail

    def finish(self, feed=_nothing):
        """Write everything that is held, copies too. feed: called between two writes."""
        self.writer.lent = False  # whatever broke off a write
        while self.queue.tail != self.queue.head:  # sampling has ended
            self.pack()
        self._close_block()
        writer = self.writer
        while not writer.dead and not writer.flush():
            feed()
        self._write_health()
        while not writer.dead and self.copier.step():
            feed()

    def _row(self, cells, at):
        row = cells[at]
        packer = self.packer
        span = self.span
        if row != span[NEXT_ROW]:
            # Not worth a write by itself: where the port samples nothing while it writes, that would be the next hole
            self._close_block(worth=False)
            self.hole = row - span[NEXT_ROW]
        elif packer.rows and row - span[FIRST_ROW] >= self.rate_hz:
            self._close_block()
        if not packer.rows:
            span[FIRST_ROW] = row
        if not packer.add(cells, at + 1):
            self._close_block()
            span[FIRST_ROW] = row
            packer.add(cells, at + 1)
        span[NEXT_ROW] = row + 1
        self._watch_marks(row, cells[at + span[AT_MARK]], cells[at + span[AT_MARK] + 1])

    def _watch_marks(self, row, mark, flag):
        span = self.span
        if mark != span[MARK]:
            was_open = layout.mark_open(span[MARK])
            if was_open:
                self.copier.closed(row)
            if layout.mark_open(mark):
                self.copier.opened(row)
            span[MARK] = mark
        if flag != span[FLAG]:
            span[FLAG] = flag
            self.copier.flagged(row)

    def _close_block(self, worth=True):
        packer = self.packer
        if not packer.rows:
            return
        writer = self.writer
        block = writer.start_rows()
        packer.write(block, self.span[FIRST_ROW], self.hole)
        if self.copier.wants(self.span[FIRST_ROW]):
            layout.put16(block, layout.AT_ROWS, packer.rows | layout.KEPT)
        writer.add_rows()
        self.due = self.due or worth or writer.outbox.held > outbox.BLOCKS // 2
        self.written_rows += packer.rows
        self.hole = 0
        packer.clear()

    def _write_health(self):
        """How the logger ran since the session began. Allocates a dictionary: once a minute."""
        while self.span[FIRST_ROW] >= self.health_row:
            self.health_row += _HEALTH_S * self.rate_hz
        sampler = self.sampler
        health = sampler.health
        health.look_at_heap()
        lost = sampler.lost + self.writer.outbox.dropped
        rows = self.written_rows - self.writer.outbox.dropped
        text = {"rows": rows, "lost": lost, "late_us": sampler.late_max_us, "heap": health.heap_least}
        text["stall_us"] = health.stall_us
        if self.clock:
            text["utc"] = self.clock()
            text["row"] = sampler.row
        self.writer.write_text(layout.HEALTH, json.dumps(text).encode(), self.span[FIRST_ROW])
