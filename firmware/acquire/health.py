"""How well the logger runs, stored in every row: longest stall, free heap, supply dips. Allocates nothing per row."""

import gc

from shared_math import layout, ticks

_STALL_MOST = (1 << layout.STALL_BITS) - 1
_HEAP_MOST = (1 << layout.HEAP_BITS) - 1
_DIPS_MASK = (1 << layout.DIPS_BITS) - 1


class Health:
    """supply: (1 + column, counts below which the supply has dipped, counts above which it is back), or None."""

    def __init__(self, supply=None):
        self.supply = supply
        self.columns = 3 if supply else 2
        self.stall_ms = 0  # longest stall since the last row
        self.stall_us = 0  # longest stall since the start
        self.heap_least = 1 << 29  # bytes
        self.heap_kb = _HEAP_MOST
        self.waiting = False
        self.waited = 0  # tick
        self.dips = 0
        self.dipped = False

    def worked(self, us):
        """Note that the main loop or the card was busy for `us` microseconds without a pause."""
        if us > self.stall_us:
            self.stall_us = us
        ms = us // 1000
        if ms > self.stall_ms and ms >= layout.STALL_LEAST_MS:
            self.stall_ms = ms if ms < _STALL_MOST else _STALL_MOST

    def waits(self, waiting, now):
        """Note whether the card would have to be waited for at tick `now`; a stall ends when it is ready again."""
        if waiting and not self.waiting:
            self.waited = now
        elif self.waiting and not waiting:
            self.worked((now - self.waited) & ticks.MASK)
        self.waiting = waiting

    def look_at_heap(self):
        """Collect garbage and keep the least free heap. It takes milliseconds: once a minute, not in handlers."""
        gc.collect()
        free = gc.mem_free()
        if free < self.heap_least:
            self.heap_least = free
            self.heap_kb = min(free >> 10, _HEAP_MOST)

    def put(self, cells, at, to):
        """Row path: write the columns to cells[to:]; the row's first number is at cells[at]."""
        cells[to] = self.stall_ms
        self.stall_ms = 0
        cells[to + 1] = self.heap_kb
        supply = self.supply
        if supply is not None:
            counts = cells[at + supply[0]]
            if self.dipped:
                self.dipped = counts < supply[2]
            elif counts < supply[1]:
                self.dipped = True
                self.dips = (self.dips + 1) & _DIPS_MASK
            cells[to + 2] = self.dips
