"""Counts -> values in whole numbers, for loops in which a float would be a new object at every turn.

Everything is worked out once from transfer.py and target.py; after that nothing is allocated and nothing passes 2^30.
"""

import math
from array import array

from shared_math import target, transfer

MILLI = 1000  # lambda is kept in thousandths
TENTH = 10  # loads in tenths of their unit
_COUNT_BITS = 16  # finer counts than these are halved until they fit


class Line:
    """y on the broken line through whole points, xs strictly rising, held flat beyond the ends.

    A step in x times its step in y must stay below 2^30.
    """

    def __init__(self, xs, ys):
        self.xs = array("i", xs)
        self.ys = array("i", ys)

    def at(self, x):
        """The value at `x`, rounded to the nearest whole number (halves up)."""
        xs = self.xs
        if x <= xs[0]:
            return self.ys[0]
        last = len(xs) - 1
        if x >= xs[last]:
            return self.ys[last]
        at = 1
        while x > xs[at]:
            at += 1
        return between(x, xs[at - 1], self.ys[at - 1], xs[at], self.ys[at])


def between(x, x0, y0, x1, y1):
    """y at x on the line through two points, x0 < x1."""
    step = x1 - x0
    return y0 + ((x - x0) * (y1 - y0) + (step >> 1)) // step


class Reading:
    """Value of a lambda, linear or table channel from its counts: what transfer.to_value tells, times `scale`."""

    def __init__(self, channel, column, scale):
        """column: the channel's entry in the setup text ("b" bits, "s" volts per count, "o" volts at zero counts)."""
        slope, zero = column["s"], column["o"]
        top = (1 << column["b"]) - 1
        self.shift = max(0, column["b"] - _COUNT_BITS)
        volts = channel["volts"]
        slack = abs(volts[-1] - volts[0]) * transfer.TOLERANCE
        low, high = min(volts[0], volts[-1]), max(volts[0], volts[-1])
        self.least, self.most = _counts(low - slack, high + slack, slope, zero, top)
        self.states = tuple(
            [_counts(state["volts"][0], state["volts"][1], slope, zero, top) for state in channel.get("states", ())]
        )
        self.names = tuple([state["name"] for state in channel.get("states", ())])
        edge = abs(volts[-1] - volts[0]) * transfer.RAIL
        low_rail = _counts(low - slack, low + edge, slope, zero, top)
        high_rail = _counts(high - edge, high + slack, slope, zero, top)
        # Which end of the volts is the end of the greatest values: that of lean for a lambda channel
        rising = (channel["values"][-1] > channel["values"][0]) == (volts[-1] > volts[0])
        self.low_rail, self.high_rail = (low_rail, high_rail) if rising else (high_rail, low_rail)
        points = set()
        if self.least < self.most:
            points = {self.least, self.most}
        for volt in volts[1:-1]:
            count = (volt - zero) / slope
            for one in (math.floor(count), math.ceil(count)):
                if self.least < one < self.most:
                    points.add(int(one))
        plain = {key: channel[key] for key in channel if key != "states"}
        xs, ys = [], []
        for count in sorted(points):
            value = transfer.to_value(plain, transfer.counts_to_volts(count, slope, zero))
            if value is not None and (not xs or count >> self.shift > xs[-1]):
                xs.append(count >> self.shift)
                ys.append(int(math.floor(value * scale + 0.5)))
        self.line = Line(xs, ys) if xs else None

    def value(self, counts):
        """Whole number, or None outside the sensor's range and in a state of its controller."""
        if self.line is None or counts < self.least or counts > self.most or self.state(counts) >= 0:
            return None
        return self.line.at(counts >> self.shift)

    def state(self, counts):
        """Which of `names` the controller signals, or -1."""
        at = 0
        for low, high in self.states:
            if low <= counts <= high:
                return at
            at += 1
        return -1

    def rail(self, counts):
        """-1 at the end of the least values, 1 at the end of the greatest, 0 between: there a value is a bound."""
        if self.low_rail[0] <= counts <= self.low_rail[1]:
            return -1
        if self.high_rail[0] <= counts <= self.high_rail[1]:
            return 1
        return 0


def _counts(low_volts, high_volts, slope, zero, top):
    """(first, last) whole counts whose volts lie between, within 0 to `top`; first above last where there are none."""
    ends = sorted(((low_volts - zero) / slope, (high_volts - zero) / slope))
    return max(0, int(math.ceil(ends[0]))), min(top, int(math.floor(ends[1])))


class Wanted:
    """A target of the configuration (one entry) in whole numbers: thousandths of lambda at tenths of load."""

    def __init__(self, entry):
        wanted = entry["lambda"]
        loads = target.load_axis(entry)
        self.load = entry.get("load")
        self.speeds = None
        self.flat = None
        if loads is None:
            self.flat = _whole(wanted, MILLI)
            return
        xs = [_whole(load, TENTH) for load in loads]
        rows = wanted if "rpm" in entry else (wanted,)
        self.rows = tuple([Line(xs, [_whole(one, MILLI) for one in row]) for row in rows])
        if "rpm" in entry:
            self.speeds = array("i", [_whole(rpm, 1) for rpm in entry["rpm"]])

    def at(self, load, rpm):
        """Thousandths of lambda at `load` tenths (None: unknown) and `rpm`, or None where it can't be told."""
        if self.flat is not None:
            return self.flat
        if load is None:
            return None
        speeds = self.speeds
        if speeds is None:
            return self.rows[0].at(load)
        if rpm <= speeds[0]:
            return self.rows[0].at(load)
        last = len(speeds) - 1
        if rpm >= speeds[last]:
            return self.rows[last].at(load)
        at = 1
        while rpm > speeds[at]:
            at += 1
        low, high = self.rows[at - 1].at(load), self.rows[at].at(load)
        return between(rpm, speeds[at - 1], low, speeds[at], high)


def _whole(number, scale):
    return int(math.floor(number * scale + 0.5))
