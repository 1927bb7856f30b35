"""Channel descriptions: the columns of the ring file and the names in decoded tables, from the configuration."""

from shared_math import converters, layout

# Front ends of the minimum build (hardware/README.md): ohms to the terminal, ohms to ground
DIVIDER_5V = (6800, 10000)
DIVIDER_BATTERY = (47000, 10000)
PLAIN = "plain"  # measures against the logger's ground
DIFFERENTIAL = "differential"  # measures against the sensor's ground
LIMIT_5V = 5.5  # volts at the terminal; channels that go higher are on the battery divider

ANALOG_KINDS = ("lambda", "linear", "table", "thermistor", "rtd", "thermocouple")
PULSE_KINDS = ("pulses", "frequency", "pulse_width")
BUS_KINDS = ("obd", "can")

# Configured unit -> suffix of the column in decoded tables
UNIT_SUFFIX = {
    "": "",
    "rpm": "rpm",
    "km/h": "kmh",
    "kPa": "kpa",
    "bar": "bar",
    "psi": "psi",
    "%": "pct",
    "V": "v",
    "mV": "mv",
    "A": "a",
    "degC": "degc",
    "degF": "degf",
    "K": "k",
    "ms": "ms",
    "g/s": "gps",
    "kg/h": "kgph",
    "g": "g",
    "Hz": "hz",
    "mm": "mm",
    "counts": "counts",
}


def unit_of(channel):
    """The unit of a channel's value: configured, or implied by its kind; "" if it has none."""
    kind = channel["kind"]
    if kind in ("lambda", "digital"):
        return ""
    if kind == "pulses":
        return "km/h" if "per_metre" in channel else "rpm"
    if kind in ("thermistor", "rtd", "thermocouple"):
        return "degC"
    if kind == "pulse_width":
        return "ms"
    if kind == "obd":
        from shared_math import bus

        return bus.unit(channel)
    return channel.get("unit", "")


def column_name(channel):
    """The channel's column in decoded tables: its name, with a suffix for the unit if it has one."""
    unit = unit_of(channel)
    if not unit:
        return channel["name"]
    suffix = UNIT_SUFFIX.get(unit)
    if suffix is None:
        suffix = "".join([c for c in unit.lower() if c.isalpha() or c.isdigit()])
    return channel["name"] + "_" + suffix


def crank_of(listed):
    """The first channel of the list that counts the crank, or None."""
    for channel in listed:
        if channel.get("kind") == "pulses" and "per_rev" in channel:
            return channel
    return None


def duty_name(channel):
    """The name of the duty column computed from a pulse_width channel and engine speed."""
    return channel["name"] + "_duty_pct"


def divider_of(channel):
    """(ohms to the terminal, ohms to ground) of an analog channel: its own `divider`, or the minimum build's.

    A `divider` without resistors ({"top_ohm": 0, "bottom_ohm": 1}) is a direct connection.
    """
    divider = channel.get("divider")
    if divider:
        return divider["top_ohm"], divider["bottom_ohm"]
    volts = channel.get("volts")
    if volts and max(volts) > LIMIT_5V:
        return DIVIDER_BATTERY
    return DIVIDER_5V


def volts_line(channel, bits, reference_volts, signed=False):
    """(volts per count, volts at zero counts) at the terminal of an analog channel.

    bits, reference_volts: of the converter; the volts span its lowest to its highest count. A two-point `calibration`
    {"counts": [a, b], "volts": [a, b]} replaces divider and reference; its counts have its own `bits` if given, since a
    board may average more or fewer readings at another rate. A count represents the middle of its step. A signed
    converter is stored with half its range added, so its middle count is 0 V.
    """
    calibration = channel.get("calibration")
    if calibration:
        c0, c1 = calibration["counts"]
        v0, v1 = calibration["volts"]
        slope = (v1 - v0) / (c1 - c0)
        return slope * (1 << calibration.get("bits", bits)) / (1 << bits), v0 - slope * c0
    return nominal_line(channel, bits, reference_volts, signed)


def nominal_line(channel, bits, reference_volts, signed=False):
    """volts_line() from divider and reference alone, ignoring any calibration of the channel."""
    top, bottom = divider_of(channel)
    step = reference_volts / (1 << bits) * (top + bottom) / bottom
    return step, -step * (1 << (bits - 1)) if signed else step / 2


def supply_of(config):
    """The channel that measures the logger's supply (named battery or supply, in V), or None."""
    for channel in config["channels"]:
        if channel["name"] in ("battery", "supply") and channel["kind"] == "linear" and channel.get("unit") == "V":
            return channel
    return None


def _analog(out, channel, spec, part):
    bits, reference, skew_us = spec[:3]
    name = channel["name"]
    slope, zero = volts_line(channel, bits, reference, part is not None and converters.signed(part))
    column = {"n": name, "r": "adc", "b": bits, "s": slope, "o": zero, "k": skew_us}
    if len(spec) > 3:
        pin_v = spec[3][1 if "calibration" in channel else 0]
        column["e"] = pin_v * abs(slope) * (1 << bits) / reference
    out.append(column)
    if part is not None and converters.slow(part):
        out.append({"n": name + ".held", "r": "held", "b": layout.HELD_BITS})


def from_the_bus(config):
    """The channels of a configuration that come from the car's bus, in order."""
    return [channel for channel in config["channels"] if channel["kind"] in BUS_KINDS]


def columns(config, converter):
    """The columns of the ring file for `config`, in order, as written to the setup text.

    converter: function from an analog input's name to (bits, reference volts, skew in microseconds), and for a
    converter that is known to be nonlinear also (its error in volts at the pin, the part of it that a calibration
    leaves).
    """
    out = []
    for channel in config["channels"]:
        name = channel["name"]
        kind = channel["kind"]
        if kind in ANALOG_KINDS:
            _analog(out, channel, converter(channel["input"]), converters.part_of(config, channel["input"]))
        elif kind in PULSE_KINDS:
            out.append({"n": name, "r": "count", "b": layout.COUNT_BITS})
            out.append({"n": name + ".age", "r": "age", "b": layout.AGE_BITS})
            out.append({"n": name + ".rejected", "r": "rejected", "b": layout.REJECTED_BITS})
            if kind == "pulse_width":
                out.append({"n": name + ".on", "r": "on_us", "b": layout.ON_BITS})
        elif kind == "digital":
            out.append({"n": name, "r": "digital", "b": 1})
    if from_the_bus(config):
        from shared_math import bus

        bus.add_columns(out, from_the_bus(config))
    out.append({"n": "stall", "r": "stall", "b": layout.STALL_BITS})
    out.append({"n": "heap", "r": "heap", "b": layout.HEAP_BITS})
    if supply_of(config):
        out.append({"n": "dips", "r": "dips", "b": layout.DIPS_BITS})
    out.append({"n": "mark", "r": "mark", "b": layout.MARK_BITS})
    out.append({"n": "flag", "r": "flag", "b": layout.FLAG_BITS})
    out.append({"n": "late", "r": "late", "b": layout.LATE_BITS})
    out.append({"n": "lamp", "r": "lamp", "b": layout.LAMP_BITS})
    return out
