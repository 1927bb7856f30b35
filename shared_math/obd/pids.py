"""The parameters of J1979's service 01 that can be scaled: length and parts of each, and how to find them.

Scalings: SAE J1979 / ISO 15031-5 as public copies of their tables have them. Copies disagree on some newer parameters;
what two of them do not agree on is not here.
"""

# A line a part: PID, bytes of its data; the part's name, its first byte, its bytes; factor, divisor, offset, unit; s
# where it is signed. A text, since a small board's heap has no room for all of it taken apart
_TABLE = """
03 2 fuel_system_1 0 1 1 1 0 -
03 2 fuel_system_2 1 1 1 1 0 -
04 1 calculated_load 0 1 100 255 0 %
05 1 coolant_temperature 0 1 1 1 -40 degC
06 1 short_trim_1 0 1 100 128 -100 %
07 1 long_trim_1 0 1 100 128 -100 %
08 1 short_trim_2 0 1 100 128 -100 %
09 1 long_trim_2 0 1 100 128 -100 %
0A 1 fuel_pressure 0 1 3 1 0 kPa
0B 1 manifold_pressure 0 1 1 1 0 kPa
0C 2 engine_speed 0 2 1 4 0 rpm
0D 1 road_speed 0 1 1 1 0 km/h
0E 1 spark_advance 0 1 1 2 -64 deg
0F 1 intake_temperature 0 1 1 1 -40 degC
10 2 air_flow 0 2 1 100 0 g/s
11 1 throttle_position 0 1 100 255 0 %
1F 2 run_time 0 2 1 1 0 s
21 2 distance_with_lamp 0 2 1 1 0 km
22 2 rail_pressure_to_manifold 0 2 79 1000 0 kPa
23 2 rail_pressure 0 2 10 1 0 kPa
2C 1 commanded_recirculation 0 1 100 255 0 %
2D 1 recirculation_error 0 1 100 128 -100 %
2E 1 commanded_purge 0 1 100 255 0 %
2F 1 fuel_level 0 1 100 255 0 %
30 1 warm_ups_since_cleared 0 1 1 1 0 -
31 2 distance_since_cleared 0 2 1 1 0 km
32 2 vapour_pressure 0 2 1 4 0 Pa s
33 1 barometric_pressure 0 1 1 1 0 kPa
42 2 module_voltage 0 2 1 1000 0 V
43 2 absolute_load 0 2 100 255 0 %
44 2 commanded_lambda 0 2 2 65536 0 -
45 1 relative_throttle 0 1 100 255 0 %
46 1 ambient_temperature 0 1 1 1 -40 degC
47 1 throttle_position_b 0 1 100 255 0 %
48 1 throttle_position_c 0 1 100 255 0 %
49 1 pedal_position_d 0 1 100 255 0 %
4A 1 pedal_position_e 0 1 100 255 0 %
4B 1 pedal_position_f 0 1 100 255 0 %
4C 1 commanded_throttle 0 1 100 255 0 %
4D 2 minutes_with_lamp 0 2 1 1 0 min
4E 2 minutes_since_cleared 0 2 1 1 0 min
4F 4 greatest_lambda 0 1 1 1 0 -
4F 4 greatest_sensor_volts 1 1 1 1 0 V
4F 4 greatest_sensor_current 2 1 1 1 0 mA
4F 4 greatest_manifold_pressure 3 1 10 1 0 kPa
50 4 greatest_air_flow 0 1 10 1 0 g/s
52 1 ethanol_content 0 1 100 255 0 %
53 2 absolute_vapour_pressure 0 2 1 200 0 kPa
54 2 wide_vapour_pressure 0 2 1 1 0 Pa s
59 2 absolute_rail_pressure 0 2 10 1 0 kPa
5A 1 relative_pedal 0 1 100 255 0 %
5B 1 drive_battery_charge 0 1 100 255 0 %
5C 1 oil_temperature 0 1 1 1 -40 degC
5D 2 injection_timing 0 2 1 128 -210 deg
5E 2 fuel_rate 0 2 1 20 0 L/h
61 1 demanded_torque 0 1 1 1 -125 %
62 1 actual_torque 0 1 1 1 -125 %
63 2 reference_torque 0 2 1 1 0 Nm
64 5 torque_point_1 0 1 1 1 -125 %
64 5 torque_point_2 1 1 1 1 -125 %
64 5 torque_point_3 2 1 1 1 -125 %
64 5 torque_point_4 3 1 1 1 -125 %
64 5 torque_point_5 4 1 1 1 -125 %
"""
_TRIM = (100, 128, -100, "%")
_LAMBDA = (2, 65536, 0, "")

# Lengths of those whose meaning is a list of states: status.py
_STATES = {0x01: 4, 0x02: 2, 0x03: 2, 0x12: 1, 0x13: 1, 0x1C: 1, 0x1D: 1, 0x1E: 1, 0x41: 4, 0x51: 1, 0x5F: 1}

MASKS = (0x00, 0x20, 0x40, 0x60, 0x80, 0xA0, 0xC0, 0xE0)
SENSORS = 8

_FIRST_VOLTS, _FIRST_LAMBDA, _FIRST_CURRENT, _FIRST_CATALYST = 0x14, 0x24, 0x34, 0x3C
_FIRST_SECOND_TRIM = 0x55


def _sensor(pid) -> "tuple | None":
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


def described(pid) -> "tuple | None":
    """(bytes, parts) of a parameter that can be scaled, or None. A part: (name, first byte, bytes, (factor, divisor,
    offset, unit), whether signed)."""
    found = _sensor(pid)
    if found:
        return found[0], tuple([part + (False,) for part in found[1]])
    begin = "\n%02X " % pid
    at = _TABLE.find(begin)
    parts = []
    length = 0
    while at >= 0:
        _, length, name, first, count, factor, divisor, offset, unit, *signed = _line(at + 1)
        scale = int(factor), int(divisor), int(offset), "" if unit == "-" else unit
        parts.append((name, int(first), int(count), scale, bool(signed)))
        at = _TABLE.find(begin, at + 1)
    return (int(length), tuple(parts)) if parts else None


def _line(at):
    return _TABLE[at : _TABLE.find("\n", at)].split(" ")


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


def names():
    """The names of all parts, by their parameters' numbers."""
    return [part[0] for pid in scalable() for part in (described(pid) or (0, ()))[1]]


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


def found(asked, take=None) -> "tuple | None":
    """(PID, its part) that `asked` means, or None: a name of the table, a number, or two hexadecimal digits.

    take: name of the part, where a number is given and the parameter has several; None: the first.
    """
    pid = number_of(asked)
    if pid is None:
        pid = _named(asked)
        take = asked
    if pid is None:
        return None
    known = described(pid)
    if known is None:
        return None
    for part in known[1]:
        if take is None or part[0] == take:
            return pid, part
    return None


def _named(name):
    """The PID that has a part of this name, or None."""
    if not isinstance(name, str) or not name or " " in name:
        return None
    at = _TABLE.find(" " + name + " ")
    if at >= 0 and name[0] in "abcdefghijklmnopqrstuvwxyz" and len(name) > 2:
        return int(_TABLE[at - 4 : at - 2], 16)
    for pid in range(_FIRST_VOLTS, _FIRST_SECOND_TRIM + 4):
        for part in (_sensor(pid) or (0, ()))[1]:
            if part[0] == name:
                return pid
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
