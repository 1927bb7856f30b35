"""The last value on either side of each limit that logger.json may hold. A limit moves by intention, never by
accident."""

from shared_math.config import schema
from shared_math.config.checker import Checker

# table of schema.py -> key -> (least, most) of a number; a single number: letters of a text at most
NUMBERS = {
    "TOP": {
        "rate_hz": (1, 1000),
        "reference_v": (1, 5.5),
        "board": 24,
        "customer": 200,
        "operator": 200,
        "conditions": 400,
        "note": 1000,
    },
    "ENGINE": {"cylinders": (1, 16), "displacement_cc": (20, 30000)},
    "VEHICLE": {
        "name": 80,
        "mass_kg": (50, 60000),
        "cda_m2": (0.05, 20),
        "crr": (0.001, 0.2),
        "exhaust_l": (0.05, 100),
    },
    "LEAN_WARNING": {"margin": (0.01, 0.5), "after_s": (0.1, 5)},
    "FUEL": {"name": 40, "stoich": (1, 40), "c": (0, 1000), "h": (0, 1000), "o": (0, 1000), "n": (0, 1000)},
    "PART": {"name": 40, "part": (0, 100), "density_kg_m3": (300, 2000)},
    "TARGET": {"load": 24},
    "WHEN": {"channel": 24},
    "DIVIDER": {"top_ohm": (0, 10000000), "bottom_ohm": (1, 10000000)},
    "STATE": {"name": 40},
}
OF_KINDS = {
    "lambda": {
        "label": 60,
        "note": 200,
        "accuracy": (0, 1000000),
        "tau_ms": (0, 5000),
        "stoich": (1, 40),
        "bank": (1, 2),
    },
    "linear": {"unit": 12, "checks": 24},
    "thermistor": {
        "pullup_ohm": (1, 10000000),
        "supply_v": (1, 30),
        "beta": (500, 10000),
        "r25_ohm": (1, 10000000),
    },
    "rtd": {"pullup_ohm": (1, 10000000), "supply_v": (1, 30), "r0_ohm": (10, 10000)},
    "thermocouple": {"gain": (1, 20000), "zero_v": (-10, 10), "cold": 24, "cold_degc": (-55, 150)},
    "pulses": {
        "per_rev": (0.1, 400),
        "per_metre": (0.05, 1000),
        "max_rpm": (300, 30000),
        "max_kmh": (10, 1000),
        "min_period_us": (1, 1000000),
        "ringing_us": (1, 1000000),
    },
    "pulse_width": {"per_cycle": (0.25, 16), "ringing_us": (1, 5000)},
}
# key -> (fewest, most numbers, least, most)
LISTS = {
    "VEHICLE": {"gears": (1, 12, 1, 1000)},
    "TARGET": {"load_kpa": (2, 32, 0, 1000), "load_pct": (2, 32, 0, 300), "rpm": (2, 32, 0, 30000)},
    "CALIBRATION": {"counts": (2, 2, -8388608, 8388607), "volts": (2, 2, -60, 60)},
    "STATE": {"volts": (2, 2, -60, 60)},
}
LISTS_OF_KINDS = {
    "linear": {"volts": (2, 32, -60, 60), "values": (2, 32, -1000000, 1000000), "expect": (2, 2, -1000000, 1000000)},
    "thermistor": {"steinhart_hart": (3, 3, -1, 1)},
    "frequency": {"hz": (2, 32, 0, 100000), "values": (2, 32, -1000000, 1000000)},
}


def beyond(limit, rule):
    """How far a value just beyond a limit lies from it."""
    return 1 if rule[0] == "whole" else max(abs(limit) * 1e-3, 1e-6)


def taken(value, rule):
    return Checker().good({"key": value}, "key", rule) is not None


def check_number(rule, limits, name):
    if not isinstance(limits, tuple):
        assert taken("x" * limits, rule) and not taken("x" * (limits + 1), rule), name
        return
    least, most = limits
    assert taken(least, rule) and taken(most, rule), name
    assert not taken(least - beyond(least, rule), rule) and not taken(most + beyond(most, rule), rule), name


def check_list(rule, limits, name):
    fewest, many, least, most = limits
    assert taken([least] * fewest, rule) and taken([most] * many, rule), name
    assert not taken([least] * (fewest - 1), rule) and not taken([most] * (many + 1), rule), name
    for wrong in (least - beyond(least, rule), most + beyond(most, rule)):
        assert not taken([least] * (fewest - 1) + [wrong], rule), name


def test_numbers_and_texts():
    for table in NUMBERS:
        for key in NUMBERS[table]:
            check_number(getattr(schema, table)[key], NUMBERS[table][key], (table, key))
    for kind in OF_KINDS:
        for key in OF_KINDS[kind]:
            check_number(schema.KINDS[kind][key], OF_KINDS[kind][key], (kind, key))


def test_lists():
    for table in LISTS:
        for key in LISTS[table]:
            check_list(getattr(schema, table)[key], LISTS[table][key], (table, key))
    for kind in LISTS_OF_KINDS:
        for key in LISTS_OF_KINDS[kind]:
            check_list(schema.KINDS[kind][key], LISTS_OF_KINDS[kind][key], (kind, key))
    assert schema.POINT == ("numbers", 2, 2, -100, 10000000)  # of a thermistor, which is no list of a key


def test_all_lambda_kinds_share_their_lists():
    for kind in ("lambda", "table"):
        for key in ("volts", "values"):
            assert schema.KINDS[kind][key] == schema.KINDS["linear"][key]


def test_what_stands_where_nothing_is_written():
    assert schema.DEFAULTS == {
        "lambda": {"scale": "lambda"},
        "linear": {"unit": ""},
        "table": {"unit": ""},
        "thermistor": {"supply_v": 5.0},
        "rtd": {"supply_v": 5.0},
        "thermocouple": {"type": "K", "zero_v": 0.0},
        "pulses": {"polarity": "rising"},
        "frequency": {"unit": "", "polarity": "rising"},
        "pulse_width": {"polarity": "low", "per_cycle": 1, "ringing_us": 200},
        "digital": {"polarity": "high"},
    }
