"""The edges of one pulse input: counts them, keeps the last times, rejects ringing."""

from shared_math import layout, ticks
from shared_math.compat import const, zeros

_KEPT = const(16)  # edge times kept, so that a late row still knows the state at its instant
_COUNT_MASK = (1 << layout.COUNT_BITS) - 1
_REJECTED_MASK = (1 << layout.REJECTED_BITS) - 1
_PAST = const(0x20000000)  # half the tick range: a larger difference is in the future
AGE_MAX = (1 << layout.AGE_BITS) - 1  # so long ago or longer


class Tach:
    """limit_us: an edge that follows the last accepted one by less than this is rejected as ringing."""

    def __init__(self, limit_us):
        self.limit_us = limit_us
        self.count = 0
        self.rejected = 0
        self.asleep = True  # no edge within AGE_MAX, so tick differences may have wrapped
        self.woke = -1  # the first edge after that, until a row has seen it; earlier times are invalid
        self.times = zeros(_KEPT)

    def edge(self, tick):
        """Interrupt handler: two comparisons, one store, two integer updates. tick: microseconds, 30 bits."""
        count = self.count
        if not self.asleep and ((tick - self.times[count & 15]) & ticks.MASK) < self.limit_us:
            self.rejected = (self.rejected + 1) & _REJECTED_MASK
            return
        count = (count + 1) & _COUNT_MASK
        self.times[count & 15] = tick
        self.count = count
        if self.asleep:
            self.woke = count
            self.asleep = False

    def put(self, row, at, grid):
        """Write count, age and rejected as of tick `grid` to row[at:at+3]; False if they are no longer known.

        Rows must be requested in order of time.
        """
        row[at + 2] = self.rejected
        count = self.count
        if self.asleep:
            row[at] = count
            row[at + 1] = AGE_MAX
            return True
        for back in range(_KEPT - 1):
            age = (grid - self.times[(count - back) & 15]) & ticks.MASK
            if age < _PAST:
                row[at] = (count - back) & _COUNT_MASK
                self.woke = -1
                if age >= AGE_MAX:
                    age = AGE_MAX
                    if back == 0:
                        self.asleep = True
                row[at + 1] = age
                return True
            if (count - back) & _COUNT_MASK == self.woke:  # the first edge is after the row's instant
                row[at] = (self.woke - 1) & _COUNT_MASK
                row[at + 1] = AGE_MAX
                return True
        return False
