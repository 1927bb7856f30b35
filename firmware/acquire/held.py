"""A value that the main loop brings and the row path takes, together with how old it is."""

from shared_math import ticks
from shared_math.compat import const

_OLDEST_MS = const(4095)  # of layout.HELD_BITS
_OLDEST_US = const(4095000)


class Held:
    """counts: until the first value comes. ticks_us: the board's clock."""

    def __init__(self, counts, ticks_us):
        self.counts = counts
        self.ticks_us = ticks_us
        self.tick = 0
        self.old = True  # so old that a difference of ticks means nothing

    def put(self, counts, tick):
        """From the main loop: the value measured at `tick`."""
        self.counts = counts
        self.tick = tick
        self.old = False

    def look(self, now):
        """From the main loop, now and then while no value comes: before ticks wrap, it must be known as old."""
        if (now - self.tick) & ticks.MASK >= _OLDEST_US:
            self.old = True

    def read(self):
        """Row path: the counts held."""
        return self.counts

    def age(self):
        """Row path: milliseconds since it was measured, 4095 at most."""
        if self.old:
            return _OLDEST_MS
        us = (self.ticks_us() - self.tick) & ticks.MASK
        return us // 1000 if us < _OLDEST_US else _OLDEST_MS
