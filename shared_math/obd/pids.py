"""The parameters of J1979's service 01 that can be scaled: length and parts of each, and how to find them.

Scalings: SAE J1979 / ISO 15031-5 as public copies of their tables have them. Copies disagree on some newer parameters;
what two of them do not agree on is not here.
"""

_PCT = (100, 255, 0, "%")
_DEGC = (1, 1, -40, "degC")
_TRIM = (100, 128, -100, "%")
_KPA = (1, 1, 0, "kPa")
_LAMBDA = (2, 65536, 0, "")
_TORQUE = (1, 1, -125, "%")
_KM = (1, 1, 0, "km")
_MIN = (1, 1, 0, "min")
_SIGNED = "signed"

# PID -> (bytes, parts), a part being (name, first byte, bytes, (factor, divisor, offset, unit)[, _SIGNED])
_TABLE = {
    0x10: (2, (("air_flow", 0, 2, (1, 100, 0, "g/s")),)),
    0x1F: (2, (("run_time", 0, 2, (1, 1, 0, "s")),)),
    0x21: (2, (("distance_with_lamp", 0, 2, _KM),)),
    0x22: (2, (("rail_pressure_to_manifold", 0, 2, (79, 1000, 0, "kPa")),)),
    0x23: (2, (("rail_pressure", 0, 2, (10, 1, 0, "kPa")),)),
    0x31: (2, (("distance_since_cleared", 0, 2, _KM),)),
    0x32: (2, (("vapour_pressure", 0, 2, (1, 4, 0, "Pa"), _SIGNED),)),
    0x42: (2, (("module_voltage", 0, 2, (1, 1000, 0, "V")),)),
    0x43: (2, (("absolute_load", 0, 2, (100, 255, 0, "%")),)),
    0x44: (2, (("commanded_lambda", 0, 2, _LAMBDA),)),
    0x4D: (2, (("minutes_with_lamp", 0, 2, _MIN),)),
    0x4E: (2, (("minutes_since_cleared", 0, 2, _MIN),)),
    0x4F: (
        4,
        (
            ("greatest_lambda", 0, 1, (1, 1, 0, "")),
            ("greatest_sensor_volts", 1, 1, (1, 1, 0, "V")),
            ("greatest_sensor_current", 2, 1, (1, 1, 0, "mA")),
            ("greatest_manifold_pressure", 3, 1, (10, 1, 0, "kPa")),
        ),
    ),
    0x50: (4, (("greatest_air_flow", 0, 1, (10, 1, 0, "g/s")),)),
    0x53: (2, (("absolute_vapour_pressure", 0, 2, (1, 200, 0, "kPa")),)),
    0x54: (2, (("wide_vapour_pressure", 0, 2, (1, 1, 0, "Pa"), _SIGNED),)),
    0x59: (2, (("absolute_rail_pressure", 0, 2, (10, 1, 0, "kPa")),)),
    0x5D: (2, (("injection_timing", 0, 2, (1, 128, -210, "deg")),)),
    0x5E: (2, (("fuel_rate", 0, 2, (1, 20, 0, "L/h")),)),
    0x63: (2, (("reference_torque", 0, 2, (1, 1, 0, "Nm")),)),
    0x64: (5, tuple([("torque_point_%d" % (at + 1), at, 1, _TORQUE) for at in range(5)])),
    0x0C: (2, (("engine_speed", 0, 2, (1, 4, 0, "rpm")),)),
}

# Of one byte: PID -> (name, scale)
_SHORT = {
    0x04: ("calculated_load", _PCT),
    0x05: ("coolant_temperature", _DEGC),
    0x06: ("short_trim_1", _TRIM),
    0x07: ("long_trim_1", _TRIM),
    0x08: ("short_trim_2", _TRIM),
    0x09: ("long_trim_2", _TRIM),
    0x0A: ("fuel_pressure", (3, 1, 0, "kPa")),
    0x0B: ("manifold_pressure", _KPA),
    0x0D: ("road_speed", (1, 1, 0, "km/h")),
    0x0E: ("spark_advance", (1, 2, -64, "deg")),
    0x0F: ("intake_temperature", _DEGC),
    0x11: ("throttle_position", _PCT),
    0x2C: ("commanded_recirculation", _PCT),
    0x2D: ("recirculation_error", _TRIM),
    0x2E: ("commanded_purge", _PCT),
    0x2F: ("fuel_level", _PCT),
    0x30: ("warm_ups_since_cleared", (1, 1, 0, "")),
    0x33: ("barometric_pressure", _KPA),
    0x45: ("relative_throttle", _PCT),
    0x46: ("ambient_temperature", _DEGC),
    0x47: ("throttle_position_b", _PCT),
    0x48: ("throttle_position_c", _PCT),
    0x49: ("pedal_position_d", _PCT),
    0x4A: ("pedal_position_e", _PCT),
    0x4B: ("pedal_position_f", _PCT),
    0x4C: ("commanded_throttle", _PCT),
    0x52: ("ethanol_content", _PCT),
    0x5A: ("relative_pedal", _PCT),
    0x5B: ("drive_battery_charge", _PCT),
    0x5C: ("oil_temperature", _DEGC),
    0x61: ("demanded_torque", _TORQUE),
    0x62: ("actual_torque", _TORQUE),
}

# Lengths of those whose meaning is a list of states: status.py
_STATES = {0x01: 4, 0x02: 2, 0x03: 2, 0x12: 1, 0x13: 1, 0x1C: 1, 0x1D: 1, 0x1E: 1, 0x41: 4, 0x51: 1, 0x5F: 1}

MASKS = (0x00, 0x20, 0x40, 0x60, 0x80, 0xA0, 0xC0, 0xE0)
SENSORS = 8

_FIRST_VOLTS, _FIRST_LAMBDA, _FIRST_CURRENT, _FIRST_CATALYST = 0x14, 0x24, 0x34, 0x3C
_FIRST_SECOND_TRIM = 0x55


def _sensor(pid):
    """Parts of the oxygen sensors' parameters, which are numbered alike; None for any other."""
    if _FIRST_VOLTS <= pid < _FIRST_VOLTS + SENSORS:
        name = "sensor_%d_" % (pid - _FIRST_VOLTS + 1)
        return 2, ((name + "volts", 0, 1, (1, 200, 0, "V")), (name + "trim", 1, 1, _TRIM))
    if _FIRST_LAMBDA <= pid < _FIRST_LAMBDA + SENSORS:
        name = "wide_%d_" % (pid - _FIRST_LAMBDA + 1)
        return 4, ((name + "lambda", 0, 2, _LAMBDA), (name + "volts", 2, 2, (8, 65536, 0, "V")))
    if _FIRST_CURRENT <= pid < _FIRST_CURRENT + SENSORS:
        name = "pumped_%d_" % (pid - _FIRST_CURRENT + 1)
        return 4, ((name + "lambda", 0, 2, _LAMBDA), (name + "current", 2, 2, (1, 256, -128, "mA")))
    if _FIRST_CATALYST <= pid < _FIRST_CATALYST + 4:
        number = pid - _FIRST_CATALYST
        name = "catalyst_temperature_%d_%d" % (1 + (number & 1), 1 + (number >> 1))  # bank, sensor
        return 2, ((name, 0, 2, (1, 10, -40, "degC")),)
    if _FIRST_SECOND_TRIM <= pid < _FIRST_SECOND_TRIM + 4:
        number = pid - _FIRST_SECOND_TRIM
        name = ("long" if number & 1 else "short") + "_second_trim_"
        bank = 1 + (number >> 1)
        return 2, ((name + str(bank), 0, 1, _TRIM), (name + str(bank + 2), 1, 1, _TRIM))
    return None


def described(pid):
    """(bytes, parts) of a parameter that can be scaled, or None. A part: (name, first byte, bytes, (factor, divisor,
    offset, unit), whether signed)."""
    if pid in _SHORT:
        name, scale = _SHORT[pid]
        length, parts = 1, ((name, 0, 1, scale),)
    else:
        found = _TABLE.get(pid) or _sensor(pid)
        if found is None:
            return None
        length, parts = found
    return length, tuple([part[:4] + (len(part) > 4,) for part in parts])


def length_of(pid):
    """Bytes of a parameter's data, or None where that is not known."""
    if pid in MASKS:
        return 4
    if pid in _STATES:
        return _STATES[pid]
    found = described(pid)
    return found[0] if found else None


def scalable():
    """All parameters that can be scaled, by number."""
    return [pid for pid in range(1, 0x100) if described(pid)]


def raw_of(part, data):
    """The whole number that a part's bytes hold, as it is stored: unsigned, half of the range added to a signed one."""
    _, first, count, _, signed = part
    raw = 0
    for at in range(first, first + count):
        raw = raw << 8 | data[at]
    return raw ^ 1 << 8 * count - 1 if signed else raw


def scaled(part, raw):
    """A part's value from what `raw_of` gives."""
    _, _, count, (factor, divisor, offset, _), signed = part
    if signed:
        raw -= 1 << 8 * count - 1
    return raw * factor / divisor + offset


def found(asked, take=None):
    """(PID, its part) that `asked` means, or None: a name of the table, a number, or two hexadecimal digits.

    take: name of the part, where a number is given and the parameter has several; None: the first.
    """
    pid = number_of(asked)
    if pid is None:
        for one in scalable():
            for part in described(one)[1]:
                if part[0] == asked:
                    return one, part
        return None
    known = described(pid)
    if known is None:
        return None
    for part in known[1]:
        if take is None or part[0] == take:
            return pid, part
    return None


def number_of(asked):
    """The PID that a number or two hexadecimal digits mean, or None: a name, or nothing that can be one."""
    if isinstance(asked, int) and not isinstance(asked, bool):
        return asked if 0 <= asked <= 0xFF else None
    if isinstance(asked, str) and len(asked) == 2:
        try:
            return int(asked, 16)
        except ValueError:
            pass
    return None
