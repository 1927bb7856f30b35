"""The row path: at each grid tick a row of all columns is put into a fixed queue. No allocation after construction."""

from shared_math import ticks
from shared_math.compat import const, zeros

_JITTER_US = const(30)
_LATE_MAX = const(0xFFFF)  # of layout.LATE_BITS
_MASK = const(0x3FFFFFFF)  # of ticks
_BREATHLESS = const(16)  # excess of rows late by a quarter period over others: rows then take all the time
_RESTING = const(64)
_BREATHER = const(80)  # minus _RESTING: rows that are then skipped, so that the main loop can run


class RowQueue:
    """Rows waiting to be packed: `capacity` (power of two) rows of 1 + `columns` integers, the row number first."""

    def __init__(self, columns, capacity):
        self.stride = columns + 1
        self.mask = capacity - 1
        self.cells = zeros(capacity * self.stride)
        self.head = 0  # total rows put, wraps at 2^30
        self.tail = 0  # total rows taken

    def waiting(self):
        """Rows in the queue."""
        return (self.head - self.tail) & ticks.MASK

    def at_head(self):
        """Index of the next row to fill."""
        return (self.head & self.mask) * self.stride

    def at_tail(self):
        """Index of the oldest row."""
        return (self.tail & self.mask) * self.stride


class Sampler:
    """Fills rows. Column order is that of shared_math.channels.columns.

    parts: list of (column, kind, source); kind 0: source() gives counts or a level; kind 1: source is a Tach.
    """

    def __init__(self, queue, period_us, parts, marks, lamp, ticks_us, health):
        self.queue = queue
        self.period_us = period_us
        self.reads = tuple([(column + 1, source) for column, kind, source in parts if kind == 0])
        self.tachs = tuple([(column + 1, source) for column, kind, source in parts if kind == 1])
        self.marks = marks
        self.news = marks.button.news
        self.at_mark = queue.stride - 4  # mark, flag, late, lamp close every row
        self.lamp = lamp
        self.health = health
        self.at_health = self.at_mark - health.columns
        self.ticks_us = ticks_us
        self.row = 0
        self.grid = 0
        self.lost = 0
        self.late_max_us = 0
        self.hurry = 0  # late rows minus others; above _RESTING: number of rows to skip
        self.on = False
        self.synced = False
        self.prepare()

    def prepare(self):
        """Hook for a sampler that keeps its numbers elsewhere."""

    def look(self):
        """From the main loop: update row, lost and late_max_us."""

    def stop(self):
        """Stop taking rows."""
        self.on = False
        self.look()

    def start(self, grid):
        """Start with row 0 at tick `grid`; None: one period after the first call of `take`."""
        self.row = 0
        self.synced = grid is not None
        if self.synced:
            self.grid = grid
        self.on = True
        self.prepare()

    def take(self, _timer=None):
        """Timer handler: take the row that is due; rows whose time has passed completely are counted as lost."""
        if not self.on:
            return
        now = self.ticks_us()
        late = (now - self.grid) & _MASK
        period = self.period_us
        if late >= period or not self.synced:
            late = self.uneven(now)
            if late < 0:
                return
        if late > self.late_max_us:
            self.late_max_us = late
        breather = self.hurry >= _RESTING
        if breather:
            self.hurry = self.hurry - 1 if self.hurry > _RESTING + 1 else 0
        elif late > period >> 2:
            self.hurry += 1
            if self.hurry >= _BREATHLESS:
                self.hurry = _BREATHER
        elif self.hurry:
            self.hurry -= 1
        row = self.row
        grid = self.grid
        self.row = row + 1
        self.grid = (grid - _MASK + period - 1) & _MASK  # a plain sum would exceed 2^30 and allocate on boards
        queue = self.queue
        head = queue.head
        mask = queue.mask
        cells = queue.cells
        at = (head & mask) * queue.stride
        whole = not breather and (head - queue.tail) & _MASK <= mask
        if whole:  # sample first, since the time of the rest varies
            cells[at] = row
            for column, read in self.reads:
                cells[at + column] = read()
            for column, tach in self.tachs:
                if not tach.put(cells, at + column, grid):
                    whole = False
        marks = self.marks
        if self.news[0]:
            marks.step(row, grid)
        if not whole:
            self.lost += 1
            return
        self.health.put(cells, at, at + self.at_health)
        end = at + self.at_mark
        cells[end] = marks.mark
        cells[end + 1] = marks.flag
        cells[end + 2] = late if late < _LATE_MAX else _LATE_MAX
        cells[end + 3] = self.lamp.state
        if marks.open:
            marks.watch(cells, at)
        queue.head = (head + 1) & _MASK

    def uneven(self, now):
        """Handle the first call, which only starts the grid, a call before its time, or one that is whole rows late.

        Missed rows are counted as lost. Returns the lateness of the due row in microseconds, or -1 if none is due.
        """
        if not self.synced:
            self.grid = ticks.add((now - _JITTER_US) & _MASK, self.period_us)
            self.synced = True
            return -1
        period = self.period_us
        late = (now - self.grid) & _MASK
        if late > _MASK >> 1:  # before its time
            return -1 if late < _MASK - (period >> 1) else 0
        while late >= period:
            self.lost += 1
            self.marks.step(self.row, self.grid)
            self.row += 1
            self.grid = ticks.add(self.grid, period)
            late -= period
        return late


def sampler(*parts):
    """The fastest Sampler that this port supports."""
    try:
        from acquire.viper_rows import ViperSampler
    except (ImportError, SyntaxError, ValueError):
        return Sampler(*parts)
    return ViperSampler(*parts)
