"""The button: bounces removed, presses kept until the row path takes them. Never waits, never allocates."""


from shared_math import ticks
from shared_math.compat import const, zeros

_BOUNCE_US = const(25000)
_KEPT = const(8)


class Button:
    """Call `change(pressed, tick)` from the pin's interrupt at every edge; the row path calls `next(grid)`."""

    def __init__(self):
        self.pressed = False
        self.since = 0
        self.fresh = True
        self.times = zeros(_KEPT)
        self.kinds = bytearray(_KEPT)
        self.head = 0
        self.tail = 0

    def change(self, pressed, tick):
        """Interrupt handler. A change within 25 ms of the last accepted one is bounce."""
        if pressed == self.pressed:
            return
        if not self.fresh and ((tick - self.since) & ticks.MASK) < _BOUNCE_US:
            return
        self.fresh = False
        self.pressed = pressed
        self.since = tick
        if (self.head - self.tail) & 0xFF >= _KEPT:
            return  # eight changes unread: a hand can't do that within a row
        self.times[self.head & 7] = tick
        self.kinds[self.head & 7] = 1 if pressed else 2
        self.head = (self.head + 1) & 0xFF

    def settle(self, level, tick):
        """Called with the pin's level now and then: catches a change whose edge fell into the bounce time."""
        if level != self.pressed and ((tick - self.since) & ticks.MASK) >= _BOUNCE_US:
            self.change(level, tick)

    def next(self, grid):
        """The oldest change up to tick `grid`: 1 pressed, 2 released, 0 none. Its tick is in `self.tick`."""
        if self.head == self.tail:
            return 0
        at = self.tail & 7
        tick = self.times[at]
        if ((grid - tick) & ticks.MASK) > ticks.MASK >> 1:
            return 0
        self.tick = tick
        self.tail = (self.tail + 1) & 0xFF
        return self.kinds[at]

    tick = 0
