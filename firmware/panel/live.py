"""The newest row as the driver's values: lambda, engine speed, load, target. Whole numbers, nothing allocated per look.

Only where a target depends on a condition (`when`), the channels it names are worked out in floats, once a second.
"""

from shared_math import lean_watch, speed, target, transfer, whole

_AGE_MOST = (1 << 20) - 1
_COUNT_MASK = (1 << 24) - 1
_KEPT = 16  # looks that an engine cycle is sought in
_HELD_MS = 1000  # a slow converter's value that is older is none
_OTHER_EDGES = 4
_FINE_HZ = 0.6  # "pulses a turn" that make LiveSpeed tell hundredths of a hertz
_FINE_KMH = 0.6  # and, dividing pulses a metre, tenths of km/h
_SHOWN = ("map", "manifold_pressure", "throttle")  # shown as load where no target names one


class Live:
    """`step` takes a row; the attributes are what it tells, None where unknown.

    lambdas, rails, states: of each sensor: thousandths; -1 or 1 at the rich or lean end; name of the state or None.
    load: tenths of `unit`. wanted: thousandths. rpm: 0 while the engine stands.
    """

    def __init__(self, settings, table, throttle):
        """table: the columns as in the setup. throttle: (column + 1, counts) below which it is closed, or None."""
        self.period_us = 1000000 // settings["rate_hz"]
        channels = settings["channels"]
        places = {}
        for at in range(len(table)):
            places[table[at]["n"]] = at
        self.table = table
        self.places = places
        self.sensors = tuple([self._analog(one, whole.MILLI) for one in lean_watch.sensors(channels)])
        self.lambdas = [None] * len(self.sensors)
        self.rails = [0] * len(self.sensors)
        self.states = [None] * len(self.sensors)
        self.throttle = throttle
        self.rpm = 0
        self.load = self.wanted = None
        self.throttle_closed = False
        self.speeds = []  # (LiveSpeed, column + 1, channel)
        for one in channels:
            if one["kind"] == "pulses" and "per_rev" in one:
                edges = -int(-speed.edges_per_cycle(settings["engine"], one["per_rev"]) // 1)
                self._add_speed(one, one["per_rev"], edges)
                break
        self.has_engine = len(self.speeds) > 0
        self._choose_targets(settings)
        self._add_conditions(channels)
        self.look_at_conditions(None, 0)

    def _analog(self, channel, scale):
        """(column + 1, 1 + column of its age or 0, Reading)."""
        at = self.places[channel["name"]]
        held = self.places.get(channel["name"] + ".held", -1)
        return at + 1, held + 1, whole.Reading(channel, self.table[at], scale)

    def _add_speed(self, channel, per_rev, edges):
        at = self.places[channel["name"]]
        made = speed.LiveSpeed(per_rev, edges, self.period_us, _COUNT_MASK, _AGE_MOST, _KEPT)
        self.speeds.append((made, at + 1, channel))

    def _choose_targets(self, settings):
        by_name = {one["name"]: one for one in settings["channels"]}
        self.target = settings.get("target")
        self.entries = lean_watch.entries(self.target)
        self.wants = [whole.Wanted(one) for one in self.entries]
        self.loads = {}  # name -> place and reading
        self.unit = ""
        names = [one["load"] for one in self.entries if "load" in one]
        self.load_matters = len(names) > 0
        names += [name for name in _SHOWN if name in by_name]
        for name in names:
            one = by_name[name]
            if one["kind"] in ("linear", "table") and (not self.unit or one["unit"] == self.unit):
                self.unit = one["unit"]
                self.loads[name] = self._analog(one, whole.TENTH)
        self.shown_load = names[0] if names and names[0] in self.loads else None
        self.want = None

    def _add_conditions(self, channels):
        asked = {one["when"]["channel"] for one in self.entries if "when" in one}
        self.conditions = [one for one in channels if one["name"] in asked]
        self.values = {}
        for one in self.conditions:
            if one["kind"] == "frequency":
                self._add_speed(one, _FINE_HZ, _OTHER_EDGES)
            elif "per_metre" in one:
                self._add_speed(one, one["per_metre"] / _FINE_KMH, _OTHER_EDGES)

    def step(self, cells, at, since):
        """Take the row at cells[at] (its number first), `since` rows after the last one taken."""
        for made, column, _ in self.speeds:
            made.row(cells[at + column], cells[at + column + 1], since)
        if self.has_engine:
            self.rpm = self.speeds[0][0].rpm
        n = 0
        for column, held, reading in self.sensors:
            counts = cells[at + column]
            old = held and cells[at + held] > _HELD_MS
            state = reading.state(counts)
            self.states[n] = reading.names[state] if state >= 0 else None
            self.lambdas[n] = None if old else reading.value(counts)
            self.rails[n] = reading.rail(counts)
            n += 1
        want = self.want
        name = self.shown_load if want is None or want.load is None else want.load
        self.load = self._load(cells, at, name)
        self.wanted = None if want is None else want.at(self.load, self.rpm)
        if self.throttle:
            self.throttle_closed = cells[at + self.throttle[0]] < self.throttle[1]

    def _load(self, cells, at, name):
        place = self.loads.get(name)
        if place is None or (place[1] and cells[at + place[1]] > _HELD_MS):
            return None
        return place[2].value(cells[at + place[0]])

    def look_at_conditions(self, cells, at):
        """Once a second: which target counts now. Floats: some hundred bytes for each channel that is asked."""
        if cells is not None:
            for one in self.conditions:
                self.values[one["name"]] = self._value(one, cells, at)
        entry = target.holding(self.target, self.values)
        self.want = self.wants[self.entries.index(entry)] if entry is not None else None

    def _value(self, channel, cells, at):
        column = self.places[channel["name"]]
        counts = cells[at + column + 1]
        kind = channel["kind"]
        if kind == "digital":
            return counts
        for made, _, one in self.speeds:
            if one["name"] == channel["name"]:
                if kind == "frequency":
                    return transfer.frequency_value(channel, made.rpm / 100)
                return made.rpm / 10 if "per_metre" in channel else made.rpm
        entry = self.table[column]
        if entry["r"] != "adc":
            return None
        volts = transfer.counts_to_volts(counts, entry["s"], entry["o"])
        return transfer.state_of(channel, volts) or transfer.to_value(channel, volts)

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
