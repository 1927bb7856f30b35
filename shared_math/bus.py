"""Channels that come from the car's bus: how wide their columns are, what a number in them means, how often they are
asked for, and where a broadcast signal stands in its frame."""

from shared_math import channels, layout
from shared_math.obd import pids

DEFAULTS = {"ask": False, "chip": "mcp2518fd", "crystal_mhz": 40, "vin": False}
SIGNAL = {"extended": False, "order": "little", "signed": False, "factor": 1.0, "offset": 0.0, "unit": ""}
MOST_ASKED = 16
STALE_PERIODS = 4  # a value that is missing for so many of its periods is none
LEAST_STALE_S = 2.0
MOST_STALE_S = 120.0  # the age's bits hold a little more
HZ = 1.0  # of a parameter that is not told of here
# What changes with the pedal, and what does not: common practice, no source
_FAST_HZ = 10.0
_SLOW_HZ = 0.5
_FAST = (0x04, 0x0B, 0x0C, 0x0D, 0x0E, 0x10, 0x11, 0x43, 0x44, 0x45, 0x47, 0x49, 0x4C, 0x5A)
_SLOW = (0x05, 0x07, 0x09, 0x0F, 0x2F, 0x33, 0x46, 0x52, 0x5C)


def usual_hz(channel):
    """How often an obd channel is asked for where the configuration does not say."""
    found = pids.found(channel["pid"], channel.get("take"))
    pid = found[0] if found else 0
    if pid in _FAST or 0x14 <= pid < 0x1C or 0x24 <= pid < 0x2C or 0x34 <= pid < 0x3C:
        return _FAST_HZ
    return _SLOW_HZ if pid in _SLOW else HZ


def usual_stale_s(channel):
    """After how long a value is none where the configuration does not say."""
    if channel["kind"] == "can":
        return LEAST_STALE_S
    return min(MOST_STALE_S, max(LEAST_STALE_S, STALE_PERIODS / channel["hz"]))


def part_of(channel):
    """The part of its parameter that a checked obd channel is: see pids.described."""
    found = pids.found(channel["pid"], channel.get("take"))
    if found is None:
        raise KeyError(channel["pid"])
    return found[1]


def scale(channel):
    """(bits, value per count, value at zero counts) of a channel's column."""
    if channel["kind"] == "obd":
        _, _, count, (factor, divisor, offset, _), signed = part_of(channel)
        bits = 8 * count
        step = factor / divisor
        return bits, step, offset - (step * (1 << bits - 1) if signed else 0)
    bits = channel["length"]
    step, offset = channel["factor"], channel["offset"]
    return bits, step, offset - (step * (1 << bits - 1) if channel["signed"] else 0)


def unit(channel):
    """The unit of a channel's value."""
    if channel["kind"] == "can":
        return channel.get("unit", "")
    found = pids.found(channel.get("pid"), channel.get("take"))
    return found[1][3][3] if found else ""


def frame_id(told) -> "int | None":
    """The number of a frame that `told` means, or None: a whole number, or hexadecimal digits with or without 0x."""
    if isinstance(told, bool):
        return None
    if isinstance(told, int):
        return told
    if not isinstance(told, str):
        return None
    try:
        number = int(told, 16)
    except ValueError:
        return None
    return number if number >= 0 else None


def last_byte(start, length, big):
    """The last byte of a frame that a signal reaches into. start: as a DBC file counts: of a little-endian signal its
    lowest bit, of a big-endian one its highest."""
    if not big:
        return start + length - 1 >> 3
    first = 8 * (start >> 3) + 7 - (start & 7)  # bits from the frame's beginning
    return first + length - 1 >> 3


def extract(data, start, length, big, signed):
    """A signal's whole number, half of its range added to a signed one. data: bytes that it fits into."""
    value = 0
    if big:
        at, bit = start >> 3, start & 7
        for _ in range(length):
            value = value << 1 | data[at] >> bit & 1
            bit -= 1
            if bit < 0:
                bit = 7
                at += 1
    else:
        for n in range(length):
            value |= (data[start + n >> 3] >> (start + n & 7) & 1) << n
    return value ^ 1 << length - 1 if signed else value


def add_columns(out, listed):
    """Columns of the channels `listed`, side by side so that one call fills them: values, ages, how the bus is."""
    for channel in listed:
        bits, step, zero = scale(channel)
        out.append({"n": channel["name"], "r": "bus", "b": bits, "s": step, "o": zero})
    for channel in listed:
        stale_ms = round(1000 * channel["stale_s"])
        out.append({"n": channel["name"] + ".held", "r": "held", "b": layout.BUS_BITS[0], "m": stale_ms})
    out.append({"n": "bus_trip", "r": "bus_trip", "b": layout.BUS_BITS[1]})
    out.append({"n": "bus_lost", "r": "bus_lost", "b": layout.BUS_BITS[2]})
    out.append({"n": "bus_state", "r": "bus_state", "b": layout.BUS_BITS[3]})


def fill(config):
    """Write into a configuration with channels from the bus what they leave open, and the bus itself."""
    told = config.setdefault("bus", {})
    for key in DEFAULTS:
        told.setdefault(key, DEFAULTS[key])
    for channel in channels.from_the_bus(config):
        if channel["kind"] == "obd":
            channel.setdefault("hz", usual_hz(channel))
        else:
            for key in SIGNAL:
                channel.setdefault(key, SIGNAL[key])
        channel.setdefault("stale_s", usual_stale_s(channel))


def pid_of(channel):
    """The parameter that an obd channel asks for, a number; -1 where it is none."""
    found = pids.found(channel.get("pid"), channel.get("take"))
    return found[0] if found else -1
