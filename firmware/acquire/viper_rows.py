"""The compiled row path: the same rows as acquire/rows.py, several times faster.

Importing this raises SyntaxError on ports without the native emitter; rows.sampler() then uses the plain one. A test
checks that both give the same rows.
"""

import micropython

from acquire import rows
from shared_math.compat import const, zeros

# The handler's state, in one array of integers
_ON = const(0)
_SYNCED = const(1)
_GRID = const(2)
_PERIOD = const(3)
_ROW = const(4)
_LOST = const(5)
_LATE_MAX_US = const(6)
_MARK = const(7)
_FLAG = const(8)
_STRIDE = const(9)
_QUEUE_MASK = const(10)
_AT_MARK = const(11)
_AT_HEALTH = const(12)
_SUPPLY = const(13)
_HURRY = const(14)
_NUMBERS = const(15)


class ViperSampler(rows.Sampler):
    """Sampler whose handler is machine code. Its numbers are in `state`; `look` copies them to the attributes."""

    def prepare(self):
        """Copy the attributes to the handler's state."""
        self.state = zeros(_NUMBERS)
        self.cells = self.queue.cells
        self.where = zeros(len(self.reads))
        for n in range(len(self.reads)):
            self.where[n] = self.reads[n][0]
        self.sources = tuple([read for _, read in self.reads])
        state = self.state
        state[_PERIOD] = self.period_us
        state[_STRIDE] = self.queue.stride
        state[_QUEUE_MASK] = self.queue.mask
        state[_AT_MARK] = self.at_mark
        state[_AT_HEALTH] = self.at_health
        state[_SUPPLY] = self.health.supply is not None
        self._load()

    def _load(self):
        state = self.state
        state[_SYNCED] = self.synced
        state[_GRID] = self.grid
        state[_ROW] = self.row
        state[_LOST] = self.lost
        state[_LATE_MAX_US] = self.late_max_us
        state[_MARK] = self.marks.mark
        state[_FLAG] = self.marks.flag
        state[_HURRY] = self.hurry
        state[_ON] = self.on

    def look(self):
        """From the main loop: update row, lost and late_max_us."""
        state = self.state
        state[_ON] = self.on
        self.grid = state[_GRID]
        self.row = state[_ROW]
        self.lost = state[_LOST]
        self.hurry = state[_HURRY]
        self.late_max_us = state[_LATE_MAX_US]

    def uneven(self, now):
        """See rows.Sampler.uneven."""
        self.look()
        late = rows.Sampler.uneven(self, now)
        self._load()
        return late

    def step(self):
        """Let the marks process the button's changes."""
        state = self.state
        marks = self.marks
        marks.step(state[_ROW], state[_GRID])
        state[_MARK] = marks.mark
        state[_FLAG] = marks.flag

    @micropython.viper
    def take(self, _timer=None):
        """Timer handler, see rows.Sampler.take."""
        s = ptr32(self.state)
        if s[_ON] == 0:
            return
        now = int(self.ticks_us())
        late = (now - s[_GRID]) & 0x3FFFFFFF
        if late >= s[_PERIOD] or s[_SYNCED] == 0:
            late = int(self.uneven(now))
            if late < 0:
                return
        if late > s[_LATE_MAX_US]:
            s[_LATE_MAX_US] = late
        grid = s[_GRID]
        row = s[_ROW]
        hurry = s[_HURRY]
        whole = 1
        if hurry >= 64:
            hurry = hurry - 1 if hurry > 65 else 0
            whole = 0
        elif late > s[_PERIOD] >> 2:
            hurry += 1
            if hurry >= 16:
                hurry = 80
        elif hurry:
            hurry -= 1
        s[_HURRY] = hurry
        queue = self.queue
        head = int(queue.head)
        room = self.cells
        cells = ptr32(room)
        at = (head & s[_QUEUE_MASK]) * s[_STRIDE]
        if ((head - int(queue.tail)) & 0x3FFFFFFF) > s[_QUEUE_MASK]:
            whole = 0
        if whole:
            cells[at] = row
            where = ptr32(self.where)
            n = 0
            for read in self.sources:
                cells[at + where[n]] = int(read())
                n += 1
            for one in self.tachs:
                if not bool(one[1].put(room, at + int(one[0]), grid)):
                    whole = 0
        news = ptr32(self.news)
        if news[0]:
            self.step()
        s[_ROW] = row + 1
        s[_GRID] = (grid + s[_PERIOD]) & 0x3FFFFFFF
        if whole == 0:
            s[_LOST] += 1
            return
        to = at + s[_AT_HEALTH]
        health = self.health
        if s[_SUPPLY]:
            health.put(room, at, to)
        else:
            cells[to] = int(health.stall_ms)
            if cells[to]:
                health.stall_ms = 0
            cells[to + 1] = int(health.heap_kb)
        end = at + s[_AT_MARK]
        cells[end] = s[_MARK]
        cells[end + 1] = s[_FLAG]
        cells[end + 2] = late if late < 0xFFFF else 0xFFFF
        cells[end + 3] = int(self.lamp.state)
        if news[0]:
            if bool(self.marks.open):
                self.marks.watch(room, at)
        queue.head = (head + 1) & 0x3FFFFFFF
