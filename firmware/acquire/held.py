"""A value that the main loop stores and the row path takes, together with its age."""

from shared_math import ticks
from shared_math.compat import const

_OLDEST_MS = const(4095)  # of layout.HELD_BITS
_OLDEST_US = const(4095000)


class Held:
    """counts: used until the first value comes. ticks_us: the board's clock."""

    def __init__(self, counts, ticks_us):
        self.counts = counts
        self.ticks_us = ticks_us
        self.tick = 0
        self.old = True  # so old that tick differences have wrapped

    def put(self, counts, tick):
        """From the main loop: store the value measured at `tick`."""
        self.counts = counts
        self.tick = tick
        self.old = False

    def look(self, now):
        """From the main loop, while no value comes: mark the value stale before the tick counter wraps."""
        if (now - self.tick) & ticks.MASK >= _OLDEST_US:
            self.old = True

    def read(self):
        """Row path: the held counts."""
        return self.counts

    def age(self):
        """Row path: milliseconds since the value was measured, at most 4095."""
        if self.old:
            return _OLDEST_MS
        us = (self.ticks_us() - self.tick) & ticks.MASK
        return us // 1000 if us < _OLDEST_US else _OLDEST_MS
