"""Rows from the queue into blocks, and marks to the copier. Runs in the main loop."""

import json

from shared_math import layout, ticks
from shared_math.compat import const

_COPIES_AT_ONCE = const(2)
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

    def begin(self):
        """Write the setup that the session's rows need."""
        self.writer.wrote = self.copier.wrote
        self.writer.write_setup(self.first_row)

    def poll(self):
        """Pack what waits; copy a little. Returns the number of rows packed."""
        queue = self.queue
        cells = queue.cells
        done = 0
        while queue.tail != queue.head:
            self._row(cells, queue.at_tail())
            queue.tail = (queue.tail + 1) & ticks.MASK
            done += 1
        if not self.writer.dead:
            self.writer.flush()
            self.copier.step(_COPIES_AT_ONCE)
        return done

    def finish(self):
        """Write everything that is held, copies too."""
        self.poll()
        self._close_block()
        self._write_health()
        while not self.writer.dead and self.copier.step(_COPIES_AT_ONCE):
            pass

    def _row(self, cells, at):
        row = cells[at]
        packer = self.packer
        if row != self.next_row:
            self._close_block()
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

    def _close_block(self):
        packer = self.packer
        if not packer.rows:
            return
        writer = self.writer
        if self.first_row >= self.health_row:
            self.health_row += _HEALTH_S * self.rate_hz
            self._write_health()
        block = writer.start_rows()
        packer.write(block, self.first_row, self.hole)
        if self.copier.wants(self.first_row):
            layout.put16(block, layout.AT_ROWS, packer.rows | layout.KEPT)
        writer.add_rows()
        self.written_rows += packer.rows
        self.hole = 0
        packer.clear()

    def _write_health(self):
        """How the logger ran since the session began. Allocates a dictionary: once a minute."""
        sampler = self.sampler
        health = sampler.health
        health.look_at_heap()
        lost = sampler.lost + self.writer.outbox.dropped
        text = {"rows": self.written_rows, "lost": lost, "late_us": sampler.late_max_us, "heap": health.heap_least}
        text["stall_us"] = health.stall_us
        self.writer.write_health(json.dumps(text).encode(), self.first_row)
