"""The newest row as the driver's values: lambda, engine speed, load, target. Whole numbers, nothing allocated."""

from shared_math import layout

_STALE_MS = layout.STALE_MS


class Live:
    """`step` takes a row; the attributes are what it tells, None where unknown. Built by live_build.make.

    lambdas, rails, states: of each sensor: thousandths; -1 or 1 at the rich or lean end; name of the state or None.
    load: tenths of `unit`. wanted: thousandths, of `want`, the target that counts. rpm: 0 while the engine stands.
    pressure: of the manifold, tenths of kPa, where loads are in another unit.
    """

    def __init__(self, sensors, speeds, has_engine, loads, shown_load, unit, want, conditions, throttle, manifold):
        """sensors: (column + 1, 1 + column of its age or 0, Reading). speeds: (LiveSpeed, column + 1, channel).

        loads: name -> as a sensor. shown_load: name of the one shown where the target has none. manifold: as a sensor.
        """
        self.sensors = sensors
        self.speeds = speeds
        self.has_engine = has_engine
        self.loads = loads
        self.shown_load = shown_load
        self.unit = unit
        self.want = want
        self.conditions = conditions
        self.throttle = throttle
        self.manifold = manifold
        self.lambdas = [None] * len(sensors)
        self.rails = [0] * len(sensors)
        self.states = [None] * len(sensors)
        self.rpm = 0
        self.load = self.wanted = self.pressure = None
        self.opening = 0  # of the throttle: -1 closed, 1 open wide, else 0

    def begin(self):
        """A new session: its counters begin anew."""
        for made, _, _ in self.speeds:
            made.held = 0
            made.rpm = 0

    def step(self, cells, at, since):
        """Take the row at cells[at] (its number first), `since` rows after the last one taken."""
        for made, column, _ in self.speeds:
            made.row(cells[at + column], cells[at + column + 1], since)
        if self.has_engine:
            self.rpm = self.speeds[0][0].rpm
        n = 0
        for column, held, reading in self.sensors:
            counts = cells[at + column]
            state = reading.state(counts)
            if state >= 0 or (held and cells[at + held] >= _STALE_MS):
                self.lambdas[n] = None
            else:
                self.lambdas[n] = reading.measured(counts)
            self.states[n] = reading.names[state] if state >= 0 else None
            self.rails[n] = reading.rail(counts)
            n += 1
        want = self.want
        name = self.shown_load if want is None or want.load is None else want.load
        self.load = self._value(cells, at, self.loads.get(name))
        self.pressure = self._value(cells, at, self.manifold)
        self.wanted = None if want is None else want.at(self.load, self.rpm)
        if self.throttle:
            column, first, last, wide_first, wide_last = self.throttle
            counts = cells[at + column]
            self.opening = -1 if first <= counts <= last else 1 if wide_first <= counts <= wide_last else 0

    def _value(self, cells, at, place):
        if place is None or (place[1] and cells[at + place[1]] >= _STALE_MS):
            return None
        return place[2].value(cells[at + place[0]])

    def target_load(self):
        """The load, where the target that counts goes by it."""
        return None if self.want is None or self.want.load is None else self.load

    def leaner(self):
        """The leanest sensor's lambda in thousandths, or None."""
        best = None
        for value in self.lambdas:
            if value is not None and (best is None or value > best):
                best = value
        return best

    def at_end(self):
        """-1 or 1 where a sensor that tells a value stands at the rich or lean end of its range, else 0."""
        for n in range(len(self.lambdas)):
            if self.lambdas[n] is not None and self.rails[n]:
                return self.rails[n]
        return 0

    def state(self):
        """Name of the state that a sensor's controller signals, or None."""
        for name in self.states:
            if name is not None:
                return name
        return None
