"""Which of several targets counts: the channels their conditions name, in floats, once a second.

Some hundred bytes are allocated for each channel that is asked.
"""

from shared_math import layout, target, transfer

_CUT_CYCLES = 2  # without a pulse for so many times their spacing, none is being injected


class Conditions:
    """speeds: name of a pulse channel -> its place in Live.speeds, filled in by the builder."""

    def __init__(self, targets, wants, named, table, places):
        self.targets = targets
        self.wants = wants
        self.table = table
        self.places = places
        self.channels = [named[name] for name in {one["when"]["channel"] for one in targets if "when" in one}]
        self.speeds = {}
        self.minute_us = 0  # of an engine's cycles: filled in by the builder, 0 without engine speed
        self.values = {}

    def want(self, cells, at, speeds):
        """The whole.Wanted that counts at the row at cells[at], or None."""
        for one in self.channels:
            self.values[one["name"]] = self._value(one, cells, at, speeds)
        entry = target.holding(self.targets, self.values)
        return None if entry is None else self.wants[self.targets.index(entry)]

    def _value(self, channel, cells, at, speeds):
        name = channel["name"]
        column = self.places[name]
        entry = self.table[column]
        if name in self.speeds:
            rate = speeds[self.speeds[name]][0].rpm
            return rate / 10 if "per_metre" in channel else transfer.frequency_value(channel, rate / 100)
        if channel["kind"] == "pulses":
            return speeds[0][0].rpm
        if channel["kind"] == "pulse_width":
            return self._on_ms(channel, cells, at, speeds)
        counts = cells[at + column + 1]
        if entry["r"] == "digital":
            return counts
        if entry["r"] != "adc":
            return None
        volts = transfer.counts_to_volts(counts, entry["s"], entry["o"])
        return transfer.state_of(channel, volts) or transfer.to_value(channel, volts)

    def _on_ms(self, channel, cells, at, speeds):
        """Of the last whole pulse; 0 while none come; None before the first, and for one too long for its column."""
        name = channel["name"]
        count, age_us, on_us = [cells[at + self.places[name + end] + 1] for end in ("", ".age", ".on")]
        if count == 0 or on_us >= (1 << layout.ON_BITS) - 1:
            return None
        rpm = speeds[0][0].rpm if self.minute_us else 0
        cut = rpm > 0 and age_us - on_us > _CUT_CYCLES * self.minute_us // (rpm * channel["per_cycle"])  # below 2^30
        return 0.0 if cut or age_us >= (1 << layout.AGE_BITS) - 1 else on_us / 1000
