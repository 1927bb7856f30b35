"""Values that came over the car's bus, held for the rows together with how old they are, and how the bus is."""

from shared_math.compat import const, zeros

_MASK = const(0x3FFFFFFF)  # of ticks
_OLDEST_MS = const(0x1FFFF)  # of layout.BUS_BITS
_OLDEST_US = const(131071000)
_TRIP_MOST = const(0xFFF)  # of layout.BUS_BITS
_LOST_MASK = const(0xFFFF)  # of layout.BUS_BITS


class BusColumns:
    """Fills the columns of `count` channels: values, their ages, then trip, lost answers and state."""

    def __init__(self, count):
        self.count = count
        self.counts = zeros(count)
        self.ticks = zeros(count)
        self.old = bytearray(b"\1" * count)  # so old that a difference of ticks means nothing
        self.trip_ms = _TRIP_MOST
        self.lost = 0
        self.state = 0

    def hold(self, at, counts, tick):
        """From the main loop: the value of channel `at` at `tick`."""
        self.counts[at] = counts
        self.ticks[at] = tick
        self.old[at] = 0

    def look(self, now):
        """From the main loop, at least every five minutes: before ticks wrap, a value must be known as old."""
        for at in range(self.count):
            if _OLDEST_US <= (now - self.ticks[at]) & _MASK < _MASK >> 1:
                self.old[at] = 1

    def tripped(self, us):
        """From the main loop: so long it took from a request to its answer."""
        self.trip_ms = us // 1000 if us < 1000 * _TRIP_MOST else _TRIP_MOST - 1

    def put(self, cells, at, grid):
        """Row path: the columns of the row at tick `grid` into cells[at:]. Always true."""
        count = self.count
        held = self.ticks
        old = self.old
        counts = self.counts
        age_at = at + count
        for n in range(count):
            cells[at + n] = counts[n]
            us = (grid - held[n]) & _MASK
            if us > _MASK >> 1:  # it came after the row's instant
                us = 0
            cells[age_at + n] = _OLDEST_MS if old[n] or us >= _OLDEST_US else us // 1000
        at = age_at + count
        cells[at] = self.trip_ms
        cells[at + 1] = self.lost & _LOST_MASK
        cells[at + 2] = self.state
        return True


def columns(count):
    """The fastest BusColumns that this port can run."""
    try:
        from acquire.viper_bus import ViperBusColumns
    except (ImportError, SyntaxError, ValueError):
        return BusColumns(count)
    return ViperBusColumns(count)
