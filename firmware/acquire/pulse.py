"""The on-time of each pulse of an input (an injector). Times shorter than the ringing do not count."""

from acquire import tach
from shared_math import layout, ticks
from shared_math.compat import const, zeros

_COUNT_MASK = (1 << layout.COUNT_BITS) - 1
_REJECTED_MASK = (1 << layout.REJECTED_BITS) - 1
_PAST = const(0x20000000)  # half the tick circle
_KEPT = const(16)  # pulse widths kept, as many as a Tach keeps times
ON_MAX = (1 << layout.ON_BITS) - 1  # so long or longer


class Pulse(tach.Tach):
    """Counts complete pulses, each at its end. limit_us: how long the line may ring after a true edge.

    An end is final once the line has stayed off for `limit_us`. If it turns on again before, it is the same pulse:
    ringing, or a driver that chops its holding current.
    """

    def __init__(self, limit_us):
        tach.Tach.__init__(self, limit_us)
        self.on = False
        self.long = False  # on for so long that the width is not kept
        self.ending = False  # off, but the end is not yet final
        self.faded = False  # that end is so long ago that tick differences would wrap
        self.began = 0
        self.ended = 0
        self.width = 0  # width of the ending pulse
        self.widths = zeros(_KEPT)

    def change(self, on, tick):
        """Interrupt handler of both edges: one or two comparisons and up to six stores."""
        if on == self.on:
            return
        self.on = on
        if not on:
            width = (tick - self.began) & ticks.MASK
            if self.long or width >= ON_MAX:
                width = ON_MAX
            elif width < self.limit_us:
                self.rejected = (self.rejected + 1) & _REJECTED_MASK
                return
            self.width = width
            self.ended = tick
            self.faded = False
            self.ending = True
            return
        if self.ending:
            self.ending = False
            if not self.faded and ((tick - self.ended) & ticks.MASK) < self.limit_us:
                self.rejected = (self.rejected + 1) & _REJECTED_MASK
                return
            count = (self.count + 1) & _COUNT_MASK
            self.times[count & 15] = self.ended
            self.widths[count & 15] = self.width
            self.count = count
            if self.asleep and not self.faded:
                self.woke = count
            self.asleep = self.faded
        self.long = False
        self.began = tick

    def put(self, row, at, grid):
        """Write count, age, rejected and on-time as of tick `grid` to row[at:at+4]; False if they are no longer
        known."""
        if self.on and not self.long:
            self.long = ON_MAX < ((grid - self.began) & ticks.MASK) < _PAST
        if self.ending:
            age = tach.AGE_MAX if self.faded else (grid - self.ended) & ticks.MASK
            if self.limit_us <= age < _PAST:
                if age >= tach.AGE_MAX:
                    age = tach.AGE_MAX
                    self.faded = True
                row[at] = (self.count + 1) & _COUNT_MASK
                row[at + 1] = age
                row[at + 2] = self.rejected
                row[at + 3] = self.width
                self.woke = -1  # that pulse and earlier ones have been seen
                return True
        if not tach.Tach.put(self, row, at, grid):
            return False
        row[at + 3] = self.widths[row[at] & 15]  # 0 before the first pulse
        return True
