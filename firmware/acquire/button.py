"""The button: removes bounces and keeps presses until the row path takes them. Never waits, never allocates."""

from array import array

from shared_math import ticks
from shared_math.compat import const, zeros

_BOUNCE_US = const(25000)
_LEAST_US = const(20000)  # a shorter contact is not a press
_KEPT = const(8)


class Button:
    """Call `change(pressed, tick)` from the pin's interrupt at every edge; the row path calls `next(grid)`.

    level: set by the board, a function that returns whether the button is pressed now. It is called only after an edge
    was rejected; otherwise a touch or a spike shorter than the bounce time would leave the button pressed for ever.
    """

    def __init__(self):
        self.pressed = False
        self.since = 0
        self.fresh = True
        self.unsure = False  # an edge was rejected or may have been missed, so the row path reads the pin
        self.refused = False  # an edge was rejected
        self.refused_at = 0  # tick of the last one
        self.news = array("i", [0])  # not 0: there are changes for the row path
        self.level = self.same
        self.times = zeros(_KEPT)
        self.kinds = bytearray(_KEPT)
        self.head = 0
        self.tail = 0
        self.tick = 0

    def same(self):
        """The level, for boards that can't read the pin."""
        return self.pressed

    def change(self, pressed, tick):
        """Interrupt handler. A change within 25 ms of the last accepted one is bounce."""
        self.unsure = False  # first, so that a row handler that interrupts this one does not take the same change
        self.news[0] = 1
        if pressed == self.pressed:
            self.refused = False
            return
        if not self.fresh and ((tick - self.since) & ticks.MASK) < _BOUNCE_US:
            self.refused_at = tick
            self.refused = True
            self.unsure = True
            return
        if (self.head - self.tail) & 0xFF >= _KEPT:
            self.unsure = True
            return
        self.fresh = False
        self.refused = False
        self.pressed = pressed
        self.since = tick
        self.times[self.head & 7] = tick
        self.kinds[self.head & 7] = 1 if pressed else 2
        self.head = (self.head + 1) & 0xFF

    def is_held(self, tick):
        """It has been pressed since before the recording: that is no press of this one."""
        self.pressed = True
        self.fresh = False
        self.since = tick
        self.tail = self.head

    def look(self):
        """From the main loop: notice a level without an edge (a busy port drops some) and leave it to the row path."""
        if self.level() != self.pressed:
            self.unsure = True
            self.news[0] = 1

    def settle(self, tick):
        """From the row path while `unsure`: after the bounce time the pin's level counts, from the last rejected
        edge."""
        if self.fresh or ((tick - self.since) & ticks.MASK) >= _BOUNCE_US:
            head = self.head
            refused = self.refused
            self.refused = False
            self.change(self.level(), tick)
            if refused and self.head != head:
                self.times[head & 7] = self.refused_at

    def _short(self, tick, grid):
        """Whether the press at `tick`, the oldest change, lasted less than 20 ms, or is not known to last longer."""
        if (self.head - self.tail) & 0xFF >= 2:
            return ((self.times[(self.tail + 1) & 7] - tick) & ticks.MASK) < _LEAST_US
        return self.refused or ((grid - tick) & ticks.MASK) < _LEAST_US

    def next(self, grid):
        """The oldest change up to tick `grid`: 1 pressed, 2 released, 0 none. Its tick is in `self.tick`.

        A press is returned once it has lasted 20 ms; of a shorter one neither press nor release is returned.
        """
        while True:
            if self.head == self.tail:
                return 0
            at = self.tail & 7
            tick = self.times[at]
            if ((grid - tick) & ticks.MASK) > ticks.MASK >> 1:
                return 0
            if self.kinds[at] == 2 or not self._short(tick, grid):
                break
            if (self.head - self.tail) & 0xFF < 2:
                return 0  # it may become a press
            self.tail = (self.tail + 2) & 0xFF
        self.tick = tick
        self.tail = (self.tail + 1) & 0xFF
        return self.kinds[at]
