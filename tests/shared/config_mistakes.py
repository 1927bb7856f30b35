"""One configuration for each possible mistake in a good one."""

from config_good import good

GONE = object()
LAMBDA, MAP, FLOW, COOLANT, CHARGE, TACH, WHEEL, ETHANOL, EXHAUST, SWITCH, INJECTOR, DIFFERENCE, SINGLE, SLOW = range(
    14
)


def ch(which, *path):
    return ("channels", which) + path


# code, where in the configuration, what is put there
MISTAKES = (
    ("not_object", ("engine",), [4]),
    ("not_object", ("lean_warning",), True),
    ("not_object", ("channels", SWITCH), "digital"),
    ("not_list", ch(FLOW, "volts"), 5),
    ("not_list", ("vehicle", "gears"), 4),
    ("not_text", ch(MAP, "label"), 7),
    ("not_number", ("rate_hz",), None),
    ("not_number", ch(LAMBDA, "divider", "top_ohm"), [1]),
    ("bool_for_number", ("rate_hz",), True),
    ("bool_for_number", ch(MAP, "volts"), [False, 5]),
    ("text_for_number", ("engine", "cylinders"), "4"),
    ("text_for_number", ch(MAP, "values"), [0, "300"]),
    ("not_yes_no", ("screen",), 1),
    ("not_yes_no", ("lean_warning", "buzzer"), "yes"),
    ("not_finite", ("engine", "displacement_cc"), float("inf")),
    ("not_finite", ch(MAP, "values"), [float("nan"), 300]),
    ("not_whole", ("rate_hz",), 200.5),
    ("out_of_range", ("rate_hz",), 0),
    ("out_of_range", ("lean_warning", "margin"), 0),
    ("out_of_range", ("lean_warning", "after_s"), 30),
    ("out_of_range", ("rate_hz",), 10**30),
    ("out_of_range", ch(TACH, "per_rev"), 0),
    ("out_of_range", ch(TACH, "per_rev"), 500),
    ("out_of_range", ch(INJECTOR, "per_cycle"), 0),
    ("out_of_range", ch(INJECTOR, "ringing_us"), 9000),
    ("bad_choice", ch(INJECTOR, "polarity"), "falling"),
    ("column_twice", ch(SWITCH, "name"), "injector_duty_pct"),
    ("input_kind", ch(INJECTOR, "input"), "d3"),
    ("key_of_other_kind", ch(INJECTOR, "per_rev"), 1),
    ("out_of_range", ch(TACH, "max_rpm"), 90),
    ("out_of_range", ch(TACH, "max_rpm"), 90000),
    ("out_of_range", ch(LAMBDA, "divider", "bottom_ohm"), 0),
    ("out_of_range", ("target", 1, "lambda"), [[1.0, 0.8], [1.0, 14.7]]),
    ("empty_text", ("board",), " "),
    ("long_text", ("customer",), "x" * 300),
    ("bad_choice", ("engine", "strokes"), 3),
    ("bad_choice", ("engine", "strokes"), "4"),
    ("bad_choice", ch(TACH, "polarity"), "up"),
    ("list_length", ch(MAP, "volts"), [0.5]),
    ("list_length", ("target", 0, "lambda"), [1.0, 0.9, 0.8]),
    ("list_length", ch(COOLANT, "steinhart_hart"), [1e-3, 2e-4]),
    ("unknown_key", ("rate",), 200),
    ("unknown_key", ("lean_warning", "delay_s"), 1),
    ("unknown_key", ch(MAP, "smoothing"), 3),
    ("unknown_key", ("vehicle", "colour"), "red"),
    ("missing_key", ("version",), GONE),
    ("missing_key", ch(MAP, "volts"), GONE),
    ("missing_key", ch(MAP, "input"), GONE),
    ("missing_key", ch(COOLANT, "r25_ohm"), GONE),
    ("missing_key", ("target", 0, "load"), GONE),
    ("bad_version", ("version",), "1"),
    ("bad_version", ("version",), True),
    ("newer_version", ("version",), 2),
    ("no_channels", ("channels",), []),
    ("many_channels", ("channels",), [{}] * 33),
    ("bad_name", ch(CHARGE, "name"), "Charge Air"),
    ("reserved_name", ch(CHARGE, "name"), "mark"),
    ("name_twice", ch(CHARGE, "name"), "coolant"),
    ("column_twice", ch(SWITCH, "name"), "ethanol_pct"),
    ("bad_input", ch(CHARGE, "input"), "pin 7"),
    ("bad_input", ch(CHARGE, "input"), "a0-a1"),
    ("bad_input", ch(CHARGE, "input"), "x0-y1"),
    ("bad_input", ch(CHARGE, "input"), "x2-x2"),
    ("bad_input", ch(CHARGE, "input"), "x-1"),
    ("no_converters", ("converters",), {}),
    ("bad_choice", ("converters", "x"), "mcp3202"),
    ("unknown_key", ("converters", "z"), "mcp3208"),
    ("not_object", ("converters",), "mcp3208"),
    ("converter_missing", ("converters",), {"x": "mcp3304"}),
    ("converter_missing", ("converters",), GONE),
    ("converter_input", ch(SINGLE, "input"), "x8"),
    ("converter_input", ch(SLOW, "input"), "y3-y4"),
    ("converter_pair", ("converters", "x"), "mcp3208"),
    ("converter_pair", ch(DIFFERENCE, "input"), "x1-x2"),
    ("converter_pair", ch(SLOW, "input"), "y1-y2"),
    ("input_twice", ch(CHARGE, "input"), "a0"),
    ("input_twice", ch(SINGLE, "input"), "x0-x1"),
    ("input_kind", ch(CHARGE, "input"), "p5"),
    ("input_kind", ch(TACH, "input"), "a9"),
    ("input_kind", ch(TACH, "input"), "x0"),
    ("kind_unknown", ch(CHARGE, "kind"), "thermometer"),
    ("kind_later", ch(CHARGE, "kind"), "can"),
    ("kind_later", ch(CHARGE, "kind"), "obd"),
    ("key_of_other_kind", ch(MAP, "per_rev"), 2),
    ("points_order", ch(FLOW, "volts"), [1, 4, 2]),
    ("points_order", ch(ETHANOL, "hz"), [50, 50]),
    ("points_length", ch(FLOW, "values"), [2, 20]),
    ("values_flat", ch(MAP, "values"), [100, 100]),
    ("linear_points", ch(MAP, {"volts": [0, 1, 2], "values": [0, 1, 3]}), None),
    ("stoich_missing", ch(LAMBDA, {"scale": "afr", "values": [9, 20]}), None),
    ("stoich_alone", ch(LAMBDA, "stoich"), 14.7),
    ("lambda_looks_afr", ch(LAMBDA, "values"), [10, 20]),
    ("afr_looks_lambda", ch(LAMBDA, {"scale": "afr", "stoich": 14.7}), None),
    ("lambda_range", ch(LAMBDA, "values"), [0.06, 1.4]),
    ("thermistor_no_curve", ch(COOLANT, {"beta": GONE, "r25_ohm": GONE}), None),
    ("thermistor_two_curves", ch(COOLANT, "steinhart_hart"), [1e-3, 2e-4, 1e-7]),
    ("thermistor_ohm", ch(COOLANT, {"beta": GONE, "r25_ohm": GONE, "points": [[32128, 0], [10, 5], [2, 50]]}), None),
    (
        "thermistor_points",
        ch(COOLANT, {"beta": GONE, "r25_ohm": GONE, "points": [[0, 100], [25, 110], [50, 120]]}),
        None,
    ),
    ("out_of_range", ch(EXHAUST, "gain"), 0),
    ("bad_choice", ch(EXHAUST, "type"), "J"),
    ("missing_key", ch(EXHAUST, "gain"), GONE),
    ("cold_two_ways", ch(EXHAUST, "cold_degc"), 25),
    ("cold_no_temperature", ch(EXHAUST, "cold"), "map"),
    ("cold_no_temperature", ch(EXHAUST, "cold"), "exhaust"),
    ("channel_unknown", ch(EXHAUST, "cold"), "terminals"),
    ("per_both", ch(WHEEL, "per_rev"), 4),
    ("per_missing", ch(WHEEL, "per_metre"), GONE),
    ("max_of_other", ch(WHEEL, "max_rpm"), 9000),
    ("pulses_too_fast", ch(WHEEL, "per_metre"), 900),
    ("filter_too_long", ch(WHEEL, "min_period_us"), 1100),
    ("ringing_too_long", ch(TACH, "per_rev"), 20),
    ("filter_too_short", ch(TACH, "min_period_us"), 200),
    ("filter_over_half", ch(TACH, "min_period_us"), 2000),
    ("calibration_same", ch(LAMBDA, "calibration", "counts"), [100, 100]),
    ("state_order", ch(LAMBDA, "states", 0, "volts"), [0.2, 0.0]),
    ("state_overlap", ch(LAMBDA, "states", 1, "volts"), [0.1, 0.3]),
    ("fuel_unknown", ("fuel", "name"), "benzin"),
    ("fuel_two_ways", ("fuel",), {"name": "mine", "c": 1, "h": 2, "stoich": 14}),
    ("fuel_no_air", ("fuel",), {"name": "mine", "c": 1, "h": 2, "o": 3}),
    ("fuel_by_alone", ("fuel", "by"), "mass"),
    (
        "fuel_no_density",
        ("fuel",),
        {"name": "x", "blend": [{"name": "petrol", "part": 0.5}, {"name": "methane", "part": 0.5}]},
    ),
    (
        "fuel_parts_sum",
        ("fuel",),
        {"name": "x", "blend": [{"name": "petrol", "part": 0.5}, {"name": "ethanol", "part": 0.6}]},
    ),
    ("gears_order", ("vehicle", "gears"), [50, 70, 120]),
    ("channel_unknown", ("target", 0, "load"), "boost"),
    ("channel_unknown", ("target", 0, "when", "channel"), "valet"),
    ("target_load_unit", ch(MAP, "unit"), "bar"),
    ("target_no_axis", ("target",), {"lambda": [0.9, 0.8]}),
    ("target_two_loads", ("target", 0, "load_pct"), [40, 200]),
    ("target_order", ("target", 0, "load_kpa"), [200, 40]),
    ("target_order", ("target", 1, "rpm"), [1000, 1000]),
    ("target_rows", ("target", 1, "lambda"), [[1.0, 0.8]]),
    ("target_unreachable", ("target", 0, "when"), GONE),
    ("lean_no_lambda", ("channels", LAMBDA), GONE),
    ("lean_no_speed", ("channels", TACH), GONE),
    ("lean_no_load", ("target",), {"lambda": 0.85}),
    ("when_alone", ("target",), {"lambda": 0.85, "when": {"channel": "high_boost", "is": 1}}),
    ("state_unknown", ("target", 0, "when", "is"), "warm"),
    ("range_order", ("target", 0, "when", "is"), [3, 2]),
    ("range_order", ch(SINGLE, "expect"), [2.52, 2.48]),
    ("key_of_other_kind", ch(LAMBDA, "expect"), [0.9, 1.1]),
)


def put(holder, path, value):
    """Set, or for GONE remove, what stands at `path`; a dict as last step sets several keys."""
    for step in path[:-1]:
        holder = holder[step]
    last = path[-1]
    for key, one in last.items() if isinstance(last, dict) else ((last, value),):
        if one is GONE:
            del holder[key]
        else:
            holder[key] = one


def mistaken(path, value):
    out = good()
    if path == ("channels",):
        del out["target"], out["lean_warning"]  # they would miss the channels they name
    put(out, path, value)
    return out
