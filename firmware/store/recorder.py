"""Rows from the queue into blocks, and marks to the copier. Runs in the main loop."""

import json

from shared_math import layout, ticks
from shared_math.compat import const
from store import outbox

_HEALTH_S = const(60)


class Recorder:
    """queue: rows.RowQueue. packer: of its columns. sampler: for the counts of lost and late rows."""

    def __init__(self, queue, packer, rate_hz, writer, copier, sampler):
        self.queue = queue
        self.rate_hz = rate_hz
        self.writer = writer
        self.copier = copier
        self.sampler = sampler
        self.packer = packer
        self.first_row = 0  # of the open block
        self.next_row = 0  # the row number that would follow without a hole
        self.hole = 0  # rows missing before the open block
        self.written_rows = 0
        self.mark = 0
        self.flag = 0
        self.mark_at = queue.stride - 4  # position of the mark column behind the row number
        self.health_row = _HEALTH_S * rate_hz
        self.due = False  # blocks wait that are worth a write

    def begin(self):
        """Write the setup that the session's rows need."""
        self.writer.wrote = self.copier.wrote
        self.writer.write_setup(self.first_row)

    def poll(self):
        """Pack what waits; write a little, copy a little. Between two writes the queue is emptied: each may take long."""
        self._pack()
        writer = self.writer
        if writer.dead:
            return
        if self.due:
            self.due = not writer.flush()
        elif self.first_row >= self.health_row:
            self._write_health()
        else:
            self.copier.step()
            return
        self._pack()
        if not writer.dead and writer.outbox.held < outbox.BLOCKS // 3:  # copies can wait: they are on the card
            self.copier.step()

    def _pack(self):
        queue = self.queue
        cells = queue.cells
        while queue.tail != queue.head:
            self._row(cells, queue.at_tail())
            queue.tail = (queue.tail + 1) & ticks.MASK

    def finish(self):
        """Write everything that is held, copies too."""
        self._pack()
        self._close_block()
        writer = self.writer
        while not writer.dead and not writer.flush():
            pass
        self._write_health()
        while not writer.dead and self.copier.step():
            pass

    def _row(self, cells, at):
        row = cells[at]
        packer = self.packer
        if row != self.next_row:
            # Not worth a write by itself: where the port samples nothing while it writes, that would be the next hole
            self._close_block(worth=False)
            self.hole = row - self.next_row
        elif packer.rows and row - self.first_row >= self.rate_hz:
            self._close_block()
        if not packer.rows:
            self.first_row = row
        if not packer.add(cells, at + 1):
            self._close_block()
            self.first_row = row
            packer.add(cells, at + 1)
        self.next_row = row + 1
        self._watch_marks(row, cells[at + self.mark_at], cells[at + self.mark_at + 1])

    def _watch_marks(self, row, mark, flag):
        if mark != self.mark:
            was_open = self.mark & 1
            if was_open:
                self.copier.closed(row)
            if mark & 1:
                self.copier.opened(row)
            self.mark = mark
        if flag != self.flag:
            self.flag = flag
            self.copier.flagged(row)

    def _close_block(self, worth=True):
        packer = self.packer
        if not packer.rows:
            return
        writer = self.writer
        block = writer.start_rows()
        packer.write(block, self.first_row, self.hole)
        if self.copier.wants(self.first_row):
            layout.put16(block, layout.AT_ROWS, packer.rows | layout.KEPT)
        writer.add_rows()
        self.due = self.due or worth or writer.outbox.held > outbox.BLOCKS // 2
        self.written_rows += packer.rows
        self.hole = 0
        packer.clear()

    def _write_health(self):
        """How the logger ran since the session began. Allocates a dictionary: once a minute."""
        while self.first_row >= self.health_row:
            self.health_row += _HEALTH_S * self.rate_hz
        sampler = self.sampler
        health = sampler.health
        health.look_at_heap()
        lost = sampler.lost + self.writer.outbox.dropped
        text = {"rows": self.written_rows, "lost": lost, "late_us": sampler.late_max_us, "heap": health.heap_least}
        text["stall_us"] = health.stall_us
        self.writer.write_health(json.dumps(text).encode(), self.first_row)
