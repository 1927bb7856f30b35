"""The allowed content of logger.json: keys, kinds and ranges. Data only, which the checks use.

A rule is a tuple: ("number" or "whole", least, most), ("text", longest), ("choice", values), ("yes_no",), or
("numbers", fewest, most numbers, least, most). None: the key has rules of its own.
"""

from shared_math import channels, converters, judging

VERSION = 1

TOP = {
    "version": None,
    "board": ("text", 24),
    "rate_hz": ("whole", 1, 1000),
    "engine": None,
    "fuel": None,
    "target": None,
    "channels": None,
    "converters": None,
    "reference_v": ("number", 1, 5.5),  # at the converters' reference pins, if it is not the board's own
    "bus": None,
    "vehicle": None,
    "lean_warning": None,
    "screen": ("yes_no",),
    "customer": ("text", 200),
    "operator": ("text", 200),
    "conditions": ("text", 400),
    "note": ("text", 1000),
}
TOP_NEEDED = ("version", "channels")

ENGINE = {
    "cylinders": ("whole", 1, 16),
    "strokes": ("choice", (2, 4)),
    "displacement_cc": ("number", 20, 30000),
}

VEHICLE = {
    "name": ("text", 80),
    "mass_kg": ("number", 50, 60000),
    "cda_m2": ("number", 0.05, 20),
    "crr": ("number", 0.001, 0.2),
    "gears": ("numbers", 1, 12, 1, 1000),  # engine rpm per km/h, first gear first
    "exhaust_l": ("number", 0.05, 100),  # from the exhaust valves to the lambda sensor
}

LEAN_WARNING = {"margin": ("number", 0.01, 0.5), "after_s": ("number", 0.1, 5), "buzzer": ("yes_no",)}

ATOMS = {
    "c": ("number", 0, 1000),
    "h": ("number", 0, 1000),
    "o": ("number", 0, 1000),
    "n": ("number", 0, 1000),
    "density_kg_m3": ("number", 300, 2000),
}
FUEL = {
    "name": ("text", 40),
    "stoich": ("number", 1, 40),
    "blend": None,
    "by": ("choice", ("volume", "mass")),
}
FUEL.update(ATOMS)
PART = {"name": ("text", 40), "part": ("number", 0, 100)}
PART.update(ATOMS)
MOST_PARTS = 6

TARGET = {
    "lambda": None,
    "load": ("text", 24),
    "load_kpa": ("numbers", 2, 32, 0, 1000),
    "load_pct": ("numbers", 2, 32, 0, 300),
    "rpm": ("numbers", 2, 32, 0, 30000),
    "when": None,
}
TARGET_LAMBDA = ("number", 0.4, 1.6)
LOAD_UNIT = {"load_kpa": "kPa", "load_pct": "%"}
MOST_TARGETS = 8
WHEN = {"channel": ("text", 24), "is": None}

MOST_CHANNELS = 32
MOST_POINTS = 32
LONGEST_NAME = 24
RESERVED = (
    "session",
    "time_s",
    "row",
    "mark",
    "flag",
    "late",
    "lamp",
    "stall",
    "heap",
    "dips",
    "lambda_target",
    "lambda_aligned",
    "load",
    "valid",
)

_DATE = ("text", 10)  # such as 2026-11-28
_COMMON = {"name": None, "input": None, "kind": None, "label": ("text", 60), "note": ("text", 200), "checked": _DATE}
_QUALITY = {"accuracy": ("number", 0, 1000000), "tau_ms": ("number", 0, 5000)}
_ANALOG = {"divider": None, "calibration": None, "states": None}
_ANALOG.update(_QUALITY)  # pyright: ignore[reportCallIssue, reportArgumentType]
_OHM = ("number", 1, 10000000)
UNIT = ("text", 12)
_VOLTS = ("numbers", 2, MOST_POINTS, -60, 60)
_VALUES = ("numbers", 2, MOST_POINTS, -1000000, 1000000)
_EDGE = ("choice", ("rising", "falling"))
_LEVEL = ("choice", ("high", "low"))
_PERIOD = ("whole", 1, 1000000)


def kind_of(*tables, **more):
    out = {}
    for table in tables:
        out.update(table)
    out.update(more)
    return out


KINDS = {
    "lambda": kind_of(
        _COMMON,
        _ANALOG,
        volts=_VOLTS,
        values=_VALUES,
        scale=("choice", ("lambda", "afr")),
        stoich=("number", 1, 40),
        bank=("whole", 1, 2),
        front=("choice", (channels.PLAIN, channels.DIFFERENTIAL)),
    ),
    "linear": kind_of(
        _COMMON,
        _ANALOG,
        unit=UNIT,
        volts=_VOLTS,
        values=_VALUES,
        expect=("numbers", 2, 2, -1e6, 1e6),
        checks=("text", 24),
    ),
    "table": kind_of(_COMMON, _ANALOG, unit=UNIT, volts=_VOLTS, values=_VALUES),
    "thermistor": kind_of(
        _COMMON,
        _ANALOG,
        pullup_ohm=_OHM,
        supply_v=("number", 1, 30),
        beta=("number", 500, 10000),
        r25_ohm=_OHM,
        steinhart_hart=("numbers", 3, 3, -1, 1),
        points=None,
    ),
    "rtd": kind_of(_COMMON, _ANALOG, pullup_ohm=_OHM, supply_v=("number", 1, 30), r0_ohm=("number", 10, 10000)),
    "thermocouple": kind_of(
        _COMMON,
        _ANALOG,
        type=("choice", ("K",)),
        gain=("number", 1, 20000),
        zero_v=("number", -10, 10),
        cold=("text", 24),
        cold_degc=("number", -55, 150),
    ),
    "pulses": kind_of(
        _COMMON,
        per_rev=("number", 0.1, 400),
        per_metre=("number", 0.05, 1000),  # LiveSpeed: a minute in whole numbers below 2^30
        max_rpm=("number", 300, 30000),
        max_kmh=("number", 10, 1000),
        min_period_us=_PERIOD,
        ringing_us=_PERIOD,
        polarity=_EDGE,
    ),
    "frequency": kind_of(
        _COMMON,
        _QUALITY,
        unit=UNIT,
        hz=("numbers", 2, MOST_POINTS, 0, 100000),
        values=_VALUES,
        min_period_us=_PERIOD,
        polarity=_EDGE,
    ),
    "pulse_width": kind_of(
        _COMMON,
        polarity=_LEVEL,
        per_cycle=("number", 0.25, 16),
        ringing_us=("whole", 1, 5000),
    ),
    "digital": kind_of(_COMMON, polarity=_LEVEL),
}
NEEDED = {
    "lambda": ("volts", "values"),
    "linear": ("volts", "values"),
    "table": ("volts", "values"),
    "thermistor": ("pullup_ohm",),
    "rtd": ("pullup_ohm", "r0_ohm"),
    "thermocouple": ("gain",),
    "pulses": (),
    "frequency": ("hz", "values"),
    "pulse_width": (),
    "digital": (),
}
INPUT_LETTERS = {
    "pulses": "p",
    "frequency": "p",
    "pulse_width": "p",
    "digital": "d",
}  # every other kind: analog, converters.py
CONVERTERS = {letter: ("choice", converters.NAMES) for letter in converters.LETTERS}

LAMBDA_LEAST = 0.3
LAMBDA_MOST = 8.0  # free air, as some controllers print it
DIVIDER = {"top_ohm": ("number", 0, 10000000), "bottom_ohm": ("number", 1, 10000000)}
CALIBRATION = {
    "counts": ("numbers", 2, 2, -8388608, 8388607),
    "volts": ("numbers", 2, 2, -60, 60),
    "bits": ("whole", 8, 24),
    "u_volts": ("numbers", 2, 2, 0, 1),
    "date": _DATE,
}
CALIBRATION_LEAST = {"counts": 1, "volts": 0.001}  # least difference between its two points
LEAST_STEP = 0.001  # volts or Hz between points: smaller steps vanish in a small board's numbers
LEAST_SPAN = 0.000001  # least span of a channel's values
STATE = {"name": ("text", 40), "volts": ("numbers", 2, 2, -60, 60), "means": ("choice", judging.MEANINGS)}
MOST_STATES = 8
POINT = ("numbers", 2, 2, -100, 10000000)

# Defaults of keys that are left out
BOARD = "generic"
RATE_HZ = 200
FUEL_NAME = "petrol"
DEFAULTS = {
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
