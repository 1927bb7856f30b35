"""Values as whole numbers, for loops in which each float would be a new heap object.

whole_numbers_build.py makes them from transfer.py and target.py. Their use allocates nothing and stays below 2^30.
"""

from array import array

MILLI = 1000  # lambda is in thousandths
TENTH = 10  # loads are in tenths of their unit


class Line:
    """y on the piecewise line through whole points, xs strictly rising, constant beyond the ends.

    A step in x times its step in y must stay below 2^30.
    """

    def __init__(self, xs, ys):
        self.xs = array("i", xs)
        self.ys = array("i", ys)

    def at(self, x):
        """The value at `x`, rounded to the nearest whole number (halves up)."""
        xs = self.xs
        ys = self.ys
        x1 = xs[0]
        if x <= x1:
            return ys[0]
        if x >= xs[-1]:
            return ys[-1]
        at = 0
        while x > x1:
            at += 1
            x0 = x1
            x1 = xs[at]
        y0 = ys[at - 1]
        step = x1 - x0
        return y0 + ((x - x0) * (ys[at] - y0) + (step >> 1)) // step  # like between(), without the call


def between(x, x0, y0, x1, y1):
    """y at x on the line through two points, x0 < x1."""
    step = x1 - x0
    return y0 + ((x - x0) * (y1 - y0) + (step >> 1)) // step


class Reading:
    """A lambda, linear or table channel. least, most: counts of the sensor's range. line: from counts >> shift to
    value.

    states, names: (first, last) counts of each configured state, and its name. low_rail, high_rail: (first, last)
    counts at the end of the least and of the greatest values.
    """

    def __init__(self, least, most, shift, line, states, names, low_rail, high_rail):
        self.least = least
        self.most = most
        self.shift = shift
        self.line = line
        self.states = states
        self.names = names
        self.low_rail = low_rail
        self.high_rail = high_rail

    def value(self, counts):
        """The value; None outside the sensor's range and in a state of its controller."""
        return self.measured(counts) if self.state(counts) < 0 else None

    def measured(self, counts):
        """The value, if the controller is known to be in none of its states."""
        if counts < self.least or counts > self.most or self.line is None:
            return None
        return self.line.at(counts >> self.shift)

    def state(self, counts):
        """The index in `names` of the state that the controller signals, or -1."""
        at = 0
        for low, high in self.states:
            if low <= counts <= high:
                return at
            at += 1
        return -1

    def rail(self, counts):
        """-1 at the end of the least values, 1 at the end of the greatest (where a value is a limit), 0 between."""
        if self.low_rail[0] <= counts <= self.low_rail[1]:
            return -1
        if self.high_rail[0] <= counts <= self.high_rail[1]:
            return 1
        return 0


class Wanted:
    """One target: thousandths of lambda by tenths of load. load: name of its channel; None for a single number.

    flat: that number. rows: a Line over load for each of `speeds` (rpm), or a single Line if speeds is None.
    """

    def __init__(self, load, flat, rows, speeds):
        self.load = load
        self.flat = flat
        self.rows = rows
        self.speeds = speeds

    def at(self, load, rpm):
        """Thousandths of lambda at `load` tenths (None: unknown) and `rpm`; None if it can't be determined."""
        if self.flat is not None:
            return self.flat
        if load is None:
            return None
        speeds = self.speeds
        if speeds is None or rpm <= speeds[0]:
            return self.rows[0].at(load)
        last = len(speeds) - 1
        if rpm >= speeds[last]:
            return self.rows[last].at(load)
        at = 1
        while rpm > speeds[at]:
            at += 1
        low, high = self.rows[at - 1].at(load), self.rows[at].at(load)
        return between(rpm, speeds[at - 1], low, speeds[at], high)
