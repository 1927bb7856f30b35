"""Engine speed and road speed from edges. k pulses a turn at n rpm are n k / 60 Hz."""

from array import array

from shared_math.compat import const

MAX_RPM = const(10000)  # default; the glitch filter must let this speed through
MAX_KMH = const(300)
STROKES = const(4)  # nearly every car engine
_LONGEST_US = const(2000000)  # ages end near a million microseconds, so slower signals need no longer filter


def strokes_of(engine):
    """Strokes of an engine cycle from the configuration's `engine`; by default 4."""
    return engine.get("strokes", STROKES)


def edges_per_cycle(engine, per_rev):
    """Edges per engine cycle, which is two turns of a four-stroke and one of a two-stroke; may be a fraction.

    Over a whole cycle every cylinder fires once, so uneven teeth and firing intervals cancel.
    """
    return per_rev * (1 if strokes_of(engine) == 2 else 2)


def rpm(edges, per_rev, time_us):
    """Mean engine speed over `edges` periods that took `time_us` microseconds."""
    return 60e6 * edges / (per_rev * time_us)


def speed_kmh(edges, per_metre, time_us):
    """Mean road speed over `edges` periods that took `time_us` microseconds."""
    return 3.6e6 * edges / (per_metre * time_us)


def shortest_period_us(max_rpm, per_rev):
    """Microseconds between edges at the highest engine speed, rounded down to a whole number."""
    return int(60e6 / (max_rpm * per_rev))


def channel_shortest_us(channel):
    """Shortest true period of a pulses or frequency channel in whole microseconds, at most 2 s."""
    if channel["kind"] == "frequency":
        return int(min(1e6 / max(channel["hz"]), _LONGEST_US))
    if "per_metre" in channel:
        return int(min(3.6e6 / (channel.get("max_kmh", MAX_KMH) * channel["per_metre"]), _LONGEST_US))
    return shortest_period_us(channel.get("max_rpm", MAX_RPM), channel["per_rev"])


def glitch_limit_us(channel):
    """An edge that follows the last by less than this is ringing: `min_period_us`, or half the shortest true period.

    For a pulse_width channel it is `ringing_us`. The channel must have its defaults."""
    if channel["kind"] == "pulse_width":
        return channel["ringing_us"]
    limit = channel.get("min_period_us")
    return channel_shortest_us(channel) // 2 if limit is None else limit


def duty_percent(on_ms, rpm, per_cycle: "float" = 1, strokes=4):
    """Share of time in per cent that an injector is open, if it opens `per_cycle` times per engine cycle for on_ms.

    A four-stroke's cycle is two turns, 120000 / rpm ms, which gives on_ms * rpm / 1200 for one opening. A two-stroke's
    cycle is one turn, which gives twice that.
    """
    return on_ms * rpm * per_cycle / (600.0 if strokes == 2 else 1200.0)


class LiveSpeed:
    """Live engine speed for lamp and screen: the mean over the last whole cycle or since the last given row, whichever
    is longer. It is late by half of that.

    It uses whole numbers below 2^30 and allocates nothing per row. Counts wrap at count_mask. `rpm` is 0 with the
    engine stopped, and before two edges.
    """

    def __init__(self, per_rev, cycle_edges, period_us, count_mask, age_most, rows=64):
        """cycle_edges: edges of a whole cycle (rounded up). period_us: between rows. age_most: from this age, no edge.

        rows: most rows to look back; a longer cycle is measured over these rows.
        """
        self.minute_us = int(60e6 / per_rev + 0.5)
        self.cycle_edges = cycle_edges
        self.period_us = period_us
        self.mask = count_mask
        self.age_most = age_most
        self.rows = rows
        self.counts = array("i", bytearray(4 * rows))
        self.ages = array("i", bytearray(4 * rows))
        self.numbers = array("i", bytearray(4 * rows))
        self.at = 0
        self.held = 0
        self.rpm = 0

    def row(self, count, age_us, since=1):
        """Process a row's edge count and age of the last edge; returns the new `rpm`. since: rows since the last
        call."""
        if age_us >= self.age_most or since * self.period_us >= self.age_most:
            self.held = 0
            self.rpm = 0
            return 0
        rows = self.rows
        at = (self.at + 1) % rows
        number = (self.numbers[self.at] + since) & 0x3FFFFFFF
        self.at = at
        self.numbers[at] = number
        self.counts[at] = count
        self.ages[at] = age_us
        if self.held < rows:
            self.held += 1
        edges = 0
        back = 0
        while edges < self.cycle_edges and back < self.held - 1:
            back += 1
            edges = (count - self.counts[at - back]) & self.mask
        if edges:
            passed = (number - self.numbers[at - back]) & 0x3FFFFFFF
            self.rpm = self._rpm(edges, passed * self.period_us - age_us + self.ages[at - back])
        if self.rpm and age_us > self.minute_us // self.rpm:  # overdue: at most one edge in that time
            self.rpm = self.minute_us // age_us
        return self.rpm

    def _rpm(self, edges, time_us):
        if time_us <= 0:
            return self.rpm
        whole = self.minute_us // time_us
        if whole >= 0x3FFFFFFF // edges:  # no shaft turns so fast: a wrong interval, beyond 30 bits
            return self.rpm
        rest = self.minute_us % time_us
        while rest > 0x1FFFFFFF // edges:
            rest >>= 1
            time_us >>= 1
        return whole * edges + (rest * edges + (time_us >> 1)) // time_us
