"""Where a mistake is told, and with which detail; and the last value on either side of each limit."""

from config_good import good
from config_mistaken import CHARGE, COOLANT, ETHANOL, FLOW, GONE, LAMBDA, MAP, SINGLE, TACH, WIRE, ch, mistaken

from shared_math import config

NO_CURVE = {"beta": GONE, "r25_ohm": GONE}


def told(path, value):
    return config.check(mistaken(path, value))


def assert_told(cases):
    """Each case: (path, value, problems)."""
    for path, value, problems in cases:
        assert told(path, value) == problems, (path, value, told(path, value))


def test_fuel():
    f = ("fuel",)
    blend = [{"name": "petrol", "part": 0.9}, {"name": "ethanol", "part": 0.1}]
    assert_told(
        (
            (f, {"name": "E10"}, []),
            (f, {"name": "mine", "stoich": 14.0}, []),
            (f, {"name": "mine", "h": 2}, []),
            (f, {"name": "mine", "c": 1}, []),
            (f, {"name": "mine", "c": 1, "h": 4, "o": 4}, [("fuel_no_air", "fuel", "")]),  # 1 + 4/4 - 4/2 = 0
            (f, {"name": "mine", "c": 1, "h": 4, "o": 3.9}, []),
            (f, {"name": "mine", "c": 1, "o": 2}, [("fuel_no_air", "fuel", "")]),
            (f, {"name": "mine", "h": 4, "o": 2}, [("fuel_no_air", "fuel", "")]),
            (f, {"name": "petrol", "o": 1}, [("fuel_no_air", "fuel", "")]),
            (f, {"name": "petrol", "n": 1}, [("fuel_no_air", "fuel", "")]),
            (f, {"name": "mine", "c": 1, "blend": blend}, [("fuel_two_ways", "fuel", "")]),
            (f, {"name": "petrol", "by": "mass"}, [("fuel_by_alone", "fuel: by", "")]),
            (f, {"stoich": 14.0}, [("missing_key", "fuel: name", "")]),
            (f, {"name": "x", "blend": blend}, []),
            (f, {"name": "x", "blend": [{"name": "petrol", "part": 90}, {"name": "e10", "part": 10.09}]}, []),
            (f, {"name": "x", "blend": blend, "by": "mass"}, []),
            (f, {"name": "x", "blend": 5}, [("not_list", "fuel: blend", "5")]),
            (f, {"name": "x", "blend": blend[:1]}, [("list_length", "fuel: blend", "1 (wanted: 2 to 6)")]),
            (f, {"name": "x", "blend": [blend[0]] * 7}, [("list_length", "fuel: blend", "7 (wanted: 2 to 6)")]),
        )
    )
    sixths = [{"name": "petrol", "part": 1 / 6}] * 6
    assert told(f, {"name": "x", "blend": sixths}) == []


def test_parts_of_a_fuel():
    f = ("fuel",)

    def two(first, part=0.5, **more):
        fuel = {"name": "x", "blend": [first, {"name": "petrol", "part": part}]}
        fuel.update(more)
        return fuel

    half = {"name": "ethanol", "part": 0.5}
    gas = {"name": "methane", "part": 0.5}
    own = {"name": "own", "part": 0.5, "c": 1, "h": 4}
    sum_of = ("fuel_parts_sum", "fuel: blend")
    assert_told(
        (
            (f, two(half, 0.5009), []),
            (f, two(half, 0.5011), [sum_of + ("1.0011",)]),
            (f, two(half, 0.4989), [sum_of + ("0.9989",)]),
            (f, two(half, 99.59), []),
            (f, two(half, 99.61), [sum_of + ("100.11",)]),
            (f, two(half, 99.39), [sum_of + ("99.89",)]),
            (f, two(gas), [("fuel_no_density", "fuel: blend, part 1", "")]),
            (f, two(gas, by="mass"), []),
            (f, two(dict(gas, density_kg_m3=420)), []),
            (f, two(own), [("fuel_no_density", "fuel: blend, part 1", "")]),
            (f, two(dict(own, density_kg_m3=700)), []),
            (f, two(dict(own, o=6, density_kg_m3=700)), [("fuel_no_air", "fuel: blend, part 1", "")]),
            (f, two({"name": "ethanol"}), [("missing_key", "fuel: blend, part 1: part", "")]),
            (f, two({"part": 0.5}), [("missing_key", "fuel: blend, part 1: name", "")]),
            (f, two(7), [("not_object", "fuel: blend, part 1", "7")]),
        )
    )
    unknown = told(f, two({"name": "benzin", "part": 0.5}))
    assert [one[:2] for one in unknown] == [("fuel_unknown", "fuel: blend, part 1: name")]
    assert unknown[0][2].startswith('"benzin" (known: e10, e20, e30, e5, e85, ethanol, hydrogen, iso-octane, ')


def test_names_and_kinds_of_channels():
    oil = 'channel 13 ("oil_pressure")'
    long_name = "a" * 25
    assert_told(
        (
            (ch(CHARGE, "name"), "intake", [("channel_unknown", 'channel 9 ("exhaust"): cold', '"charge"')]),
            (ch(MAP, "label"), "x" * 60, []),
            (ch(MAP, "label"), "x" * 61, [("long_text", 'channel 2 ("map"): label', "61 letters (allowed: 60)")]),
            (ch(SINGLE, "kind"), GONE, [("missing_key", oil + ": kind", "")]),
            (ch(FLOW, "name"), long_name[:24], []),
        )
    )
    for name in (long_name, "", "2nd", "Air", "air flow", "air-flow"):
        assert told(ch(FLOW, "name"), name) == [("bad_name", 'channel 3 ("%s"): name' % name, '"%s"' % name)], name
    kinds = "can, digital, frequency, lambda, linear, obd, pulse_width, pulses, rtd, table, thermistor, thermocouple"
    for kind, hint in (("linea", '; did you mean "linear"?'), ("sound", "")):
        wrong = told(ch(FLOW, "kind"), kind)
        assert wrong == [("kind_unknown", 'channel 3 ("air_flow"): kind', '"%s" (known: %s)%s' % (kind, kinds, hint))]
    wrong = good()
    wrong["channels"][FLOW] = 7
    assert config.check(wrong) == [("not_object", "channel 3", "7")]
    wrong = good()
    wrong["channels"] = [dict(wrong["channels"][FLOW], name="n%d" % at, input="a%d" % at) for at in range(33)]
    del wrong["target"], wrong["lean_warning"], wrong["bus"]
    assert config.check(wrong) == [("many_channels", "channels", "33 (allowed: 32)")]
    del wrong["channels"][32]
    assert config.check(wrong) == []


def test_points_of_a_line():
    lam, flow, tank = 'channel 1 ("lambda_1")', 'channel 3 ("air_flow")', 'channel 8 ("ethanol")'
    assert_told(
        (
            (ch(FLOW, "volts"), [4, 2, 1], []),
            (ch(FLOW, "volts"), [1, 1, 4], [("points_order", flow + ": volts", "")]),
            (ch(FLOW, "volts"), [1, 1.0011, 4], []),
            (ch(FLOW, "volts"), [1, 1.0009, 4], [("points_close", flow + ": volts", "0.001")]),
            (ch(FLOW, "values"), [2, 20], [("points_length", flow, "3 in volts, 2 in values")]),
            (ch(FLOW, "values"), [2, 2, 2.0000009], [("values_flat", flow + ": values", "")]),
            (ch(FLOW, "values"), [2, 2, 2.0000011], []),
            (ch(ETHANOL, "hz"), [150, 50], []),
            (ch(ETHANOL, "hz"), [50, 50.0009], [("points_close", tank + ": hz", "0.001")]),
            (ch(LAMBDA, "values"), [0.3, 8.0], []),
            (
                ch(LAMBDA, "values"),
                [0.29, 1.4],
                [("lambda_range", lam + ": values", "0.29 to 1.4 (allowed: 0.3 to 8)")],
            ),
            (
                ch(LAMBDA, "values"),
                [0.6, 8.1],
                [("lambda_range", lam + ": values", "0.6 to 8.1 (allowed: 0.3 to 8)")],
            ),
            (ch(LAMBDA, "values"), [4, 20], [("lambda_looks_afr", lam + ": values", "4 to 20")]),
            (ch(LAMBDA, {"scale": "afr", "stoich": 10, "values": [3, 80]}), None, []),
            (
                ch(LAMBDA, {"scale": "afr", "stoich": 10, "values": [5, 81]}),
                None,
                [("lambda_range", lam + ": values", "0.5 to 8.1 (allowed: 0.3 to 8)")],
            ),
            (
                ch(LAMBDA, {"scale": "afr", "stoich": 14.7, "values": [0.6, 3.9]}),
                None,
                [("afr_looks_lambda", lam + ": values", "0.6 to 3.9")],
            ),
            (ch(SINGLE, "expect"), [2.48, 2.52], []),
            (ch(SINGLE, "expect"), [2.5, 2.5], [("range_order", 'channel 13 ("oil_pressure"): expect', "")]),
            (
                ch(MAP, {"volts": [0, 1, 2], "values": [0, 1, 3]}),
                None,
                [("linear_points", 'channel 2 ("map"): volts', "3")],
            ),
        )
    )


def test_a_wire_measured_once_more():
    wire = 'channel 18 ("lambda_1_wire"): checks'
    assert_told(
        (
            (ch(WIRE, "checks"), "lambda_1", []),
            (ch(WIRE, "checks"), "coolant", [("checks_no_lambda", wire, '"coolant"')]),
            (ch(WIRE, "checks"), "lambda_9", [("channel_unknown", wire, '"lambda_9"')]),
            (ch(WIRE, "checks"), 1, [("not_text", wire, "1")]),
            (ch(WIRE, "volts"), [0, 3.9], [("checks_short", wire, "0 to 3.9 V, 0.5 to 4.5 V")]),
            (ch(WIRE, "volts"), [0, 4.9], [("checks_short", wire, "0 to 4.9 V, 0.5 to 4.5 V")]),
            (ch(WIRE, "volts"), [1.1, 8], [("checks_short", wire, "1.1 to 8 V, 0.5 to 4.5 V")]),
            (ch(WIRE, "volts"), [1, 5], []),
            (
                ch(LAMBDA, {"volts": [0.5, 4, 4.5], "values": [0.6, 1.3, 1.3]}),
                None,
                [("checks_folded", wire, '"lambda_1"')],
            ),
            (ch(WIRE, "unit"), "kPa", [("checks_not_volts", wire, '"kPa"')]),
            (ch(WIRE, "unit"), GONE, [("checks_not_volts", wire, '""')]),
            (
                ch(SINGLE, {"checks": "lambda_1", "unit": "V", "volts": [0, 8]}),
                None,
                [("checks_twice", wire, '"lambda_1"')],
            ),
        )
    )


def test_curves_and_states():
    cool, lam = 'channel 4 ("coolant")', 'channel 1 ("lambda_1")'
    points = [[0, 32000], [25, 10000], [100, 700]]
    pair = ch(LAMBDA, "calibration", "counts")
    assert_told(
        (
            (ch(COOLANT, dict(NO_CURVE, points=points)), None, []),
            (ch(COOLANT, dict(NO_CURVE, points=points[::-1])), None, []),
            (ch(COOLANT, dict(NO_CURVE, points=7)), None, [("not_list", cool + ": points", "7")]),
            (
                ch(COOLANT, dict(NO_CURVE, points=points[:2])),
                None,
                [("list_length", cool + ": points", "2 (wanted: 3)")],
            ),
            (
                ch(COOLANT, dict(NO_CURVE, points=[[0, 0], [25, 10], [50, 5]])),
                None,
                [("thermistor_ohm", cool + ": points", "")],
            ),
            (
                ch(COOLANT, dict(NO_CURVE, points=[[0, 300], [0, 200], [50, 100]])),
                None,
                [("thermistor_points", cool + ": points", "")],
            ),
            (ch(COOLANT, "r25_ohm"), GONE, [("missing_key", cool + ": r25_ohm", "")]),
            (ch(COOLANT, "beta"), GONE, [("missing_key", cool + ": beta", "")]),
            (ch(COOLANT, NO_CURVE), None, [("thermistor_no_curve", cool, "")]),
            (ch(COOLANT, "points"), points, [("thermistor_two_curves", cool, "")]),
            (pair, [100, 101], []),
            (pair, [100, 100.5], [("calibration_same", lam + ": calibration: counts", "")]),
            (ch(LAMBDA, "calibration", "volts"), [0.5, 0.5011], []),
            (
                ch(LAMBDA, "calibration", "volts"),
                [0.5, 0.5009],
                [("calibration_same", lam + ": calibration: volts", "")],
            ),
        )
    )
    states, here = ch(LAMBDA, "states"), lam + ": states"

    def between(low, high, name="fault"):
        return {"name": name, "volts": [low, high]}

    nine = [between(0.01 * at, 0.01 * at + 0.001) for at in range(9)]
    over = ("state_overlap", here + ", state 2: volts", '"fault"')
    assert_told(
        (
            (states, 7, [("not_list", here, "7")]),
            (states, [], [("list_length", here, "0 (wanted: 1 to 8)")]),
            (states, nine, [("list_length", here, "9 (wanted: 1 to 8)")]),
            (states, nine[:8], []),
            (states, [between(1, 1)], [("state_order", here + ", state 1: volts", "")]),
            (states, [between(0.5, 4.5)], [("state_covers", here + ", state 1: volts", "")]),
            (states, [between(0.4, 4.6)], [("state_covers", here + ", state 1: volts", "")]),
            (states, [between(0.51, 4.5)], []),
            (states, [between(0.5, 4.49)], []),
            (states, [between(0, 0.2), between(0.2, 0.3)], [over]),
            (states, [between(0.2, 0.3), between(0, 0.2)], [over]),
            (states, [between(0, 0.2), between(0.21, 0.3)], []),
            (
                states,
                [between(1, 0), between(0.4, 0.3)],
                [
                    ("state_order", here + ", state 1: volts", ""),
                    ("state_order", here + ", state 2: volts", ""),
                ],
            ),
            (
                states,
                [7, between(0.4, 0.3)],
                [
                    ("not_object", here + ", state 1", "7"),
                    ("state_order", here + ", state 2: volts", ""),
                ],
            ),
            (
                states,
                [{"name": "x"}, between(0.4, 0.3)],
                [
                    ("missing_key", here + ", state 1: volts", ""),
                    ("state_order", here + ", state 2: volts", ""),
                ],
            ),
        )
    )


def test_inputs():
    three = 'channel 3 ("air_flow"): input'
    assert_told(
        (
            (ch(FLOW, "input"), "a12", []),
            (ch(FLOW, "input"), "a123", [("bad_input", three, '"a123"')]),
            (ch(FLOW, "input"), "x8", [("converter_input", three, '"x8", and an mcp3304 has x0 to x7')]),
            (ch(FLOW, "input"), "x6", []),
            (ch(FLOW, "input"), "y4", [("converter_input", three, '"y4", and an ads1115 has y0 to y3')]),
            (ch(FLOW, "input"), "y3-y0", [("converter_pair", three, '"y3-y0" (ads1115: y0-y1, y0-y3, y1-y3, y2-y3)')]),
            (ch(FLOW, "input"), "a0", [("input_twice", three, '"a0", also of channel 1 ("lambda_1")')]),
            (ch(FLOW, "input"), "d2", [("input_kind", three, '"d2" (wanted: one that begins with "a" or "x" or "y")')]),
            (
                ch(TACH, "input"),
                "a9",
                [("input_kind", 'channel 6 ("engine_speed"): input', '"a9" (wanted: one that begins with "p")')],
            ),
            (ch(FLOW, "input"), 7, [("not_text", three, "7")]),
            (ch(FLOW, "input"), GONE, [("missing_key", three, "")]),
            (
                ("converters",),
                {"y": "ads1115"},
                [
                    (
                        "converter_missing",
                        'channel 12 ("fuel_pressure"): input',
                        '"x0-x1", and converters names no "x"',
                    ),
                    ("converter_missing", 'channel 13 ("oil_pressure"): input', '"x7", and converters names no "x"'),
                ],
            ),
        )
    )
    assert ("no_converters", "converters", "") in told(("converters",), {})
    assert told(("converters",), [1]) == [("not_object", "converters", "[...]")]
    plain = mistaken(("converters",), {"x": "mcp3208", "y": "ads1115"})
    assert config.check(plain) == [("converter_pair", 'channel 12 ("fuel_pressure"): input', '"x0-x1" (mcp3208: none)')]
