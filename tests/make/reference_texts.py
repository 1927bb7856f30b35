"""Texts and examples for the reference of logger.json; keys, ranges and defaults come from the schema itself."""

from __future__ import annotations

import json

# section -> what it is
SECTIONS = {
    "top": "The file is one group `{ }`. Two keys are needed: `version` and `channels`.",
    "engine": "Used for the air flow, the delay to the sensor and the length of an engine cycle.",
    "fuel": "The name of a known fuel (petrol, e5, e10, e20, e30, e85, ethanol, methanol, ...; `check` lists them), or "
    "a fuel of your own: its atoms, a blend, or its stoichiometric ratio. Lambda does not depend on the fuel; air-fuel "
    "ratios do.",
    "blend part": "One part of `blend` in `fuel`: the name of a known fuel, or a fuel of your own given by its atoms.",
    "target": "The lambda that you want. It is one number; or a list with a value for each load; or a table with a row "
    "for each engine speed and a value for each load; or a list of several targets, chosen by `when`. Between the "
    "points it follows straight lines; beyond them the end values hold. Without a target the usual full-load value of "
    "the fuel is used, and the report says that it is common practice without a source; without manifold pressure it "
    "cannot know whether the engine is boosted, and no answer is calm.",
    "when": "Chooses between the targets of a list: the first whose `when` is true counts. The last target has no "
    "`when`.",
    "lean_warning": "The lamp's warning while you drive. `false` turns it off. Without this key it is on if there are "
    "lambda, engine speed and a target that depends on load.",
    "vehicle": "Used for the report's title, for power at the wheels and for the delay to the sensor.",
    "converters": "External converters: `x` is the first, `y` the second.",
    "bus": "The car's diagnostic bus (CAN), for channels of kind `obd` and `can`. Without `ask` the logger only "
    "listens: it sends nothing, not even an acknowledgement.",
    "signal when": "For a channel of kind `can` whose frame carries different signals in turn: the other value in the "
    "frame that identifies this one.",
    "channel": "Every channel has these keys; its other keys depend on its `kind`.",
    "divider": "The resistors in front of the converter, if they differ from the drawings "
    "(6.8 and 10 kilohm; 47 and 10 kilohm where `volts` go above 5.5).",
    "calibration": "Two voltages measured on the bench, as `ringpull calibrate` writes them. They replace divider and "
    "reference.",
    "state": "A condition that the controller reports by volts outside its measuring range. Lambda is not read there.",
}

# kind -> what it is for
KINDS = {
    "lambda": "A wideband controller's analog output.",
    "linear": "A sensor with a straight line from volts to its value: pressure, throttle, battery.",
    "table": "A sensor with a curve: an air-flow meter. Straight lines between the points.",
    "thermistor": "A temperature sensor whose resistance falls as it gets hotter, wired from its input to ground and "
    "fed through a resistor. Give its curve in one of three ways: `beta` and `r25_ohm`, three `points`, or "
    "`steinhart_hart`.",
    "rtd": "A platinum temperature sensor (Pt100, Pt1000), wired like a thermistor.",
    "thermocouple": "A type K thermocouple behind an amplifier with an output in volts.",
    "pulses": "Speed from pulses: engine speed with `per_rev`, road speed with `per_metre`.",
    "frequency": "A sensor that gives its value as a frequency: ethanol content, some air-flow meters.",
    "pulse_width": "How long an injector is open. With an engine speed channel its duty is worked out too.",
    "digital": "A switch, on or off.",
    "obd": "A value requested from the car's own computer (J1979, service 01). Needs `ask` in `bus`.",
    "can": "A signal that an engine computer broadcasts by itself. Nothing is sent for it.",
}

# section or kind -> examples; every key stands in at least one. The keys of a group are shown in its own section.
_LINE = {"volts": [0.5, 4.5], "values": [0, 100]}
EXAMPLES: dict[str, list[dict]] = {
    "top": [
        {
            "version": 1,
            "board": "rp2",
            "rate_hz": 200,
            "engine": {"cylinders": 4, "displacement_cc": 1600},
            "fuel": {"name": "petrol"},
            "target": {"lambda": 0.85},
            "vehicle": {"name": "hill-climb car"},
            "lean_warning": {"margin": 0.05},
            "converters": {"x": "mcp3304"},
            "reference_v": 3.0,
            "bus": {"ask": True},
            "screen": True,
            "customer": "the car's owner",
            "operator": "who drove and who measured",
            "conditions": "dry, 18 degC, 1003 hPa",
            "note": "larger injectors, first drive",
        }
    ],
    "engine": [{"cylinders": 4, "strokes": 4, "displacement_cc": 1600}],
    "fuel": [
        {"name": "e85"},
        {
            "name": "blend of the club",
            "by": "volume",
            "blend": [{"name": "petrol", "part": 85}, {"name": "ethanol", "part": 15}],
        },
        {"name": "measured in a laboratory", "c": 1, "h": 1.85, "o": 0.02, "n": 0, "density_kg_m3": 745},
        {"name": "by its papers", "stoich": 14.1},
    ],
    "blend part": [
        {"name": "petrol", "part": 85},
        {"name": "own", "part": 15, "c": 1, "h": 2, "o": 0.1, "n": 0, "density_kg_m3": 780},
    ],
    "target": [
        {"load": "map", "load_kpa": [40, 100, 200], "lambda": [1.0, 0.88, 0.79]},
        {"load": "throttle", "load_pct": [20, 80], "rpm": [1000, 7000], "lambda": [[1.0, 0.88], [0.98, 0.86]]},
        {"when": {"channel": "high_boost", "is": 1}, "lambda": 0.8},
    ],
    "when": [{"channel": "high_boost", "is": 1}],
    "lean_warning": [{"margin": 0.05, "after_s": 0.3, "buzzer": True}],
    "vehicle": [
        {
            "name": "hill-climb car",
            "mass_kg": 950,
            "cda_m2": 0.65,
            "crr": 0.012,
            "gears": [120.5, 72.4, 51.9, 40.1],
            "exhaust_l": 1.4,
        }
    ],
    "converters": [{"x": "mcp3304", "y": "ads1115"}],
    "channel": [
        {"name": "oil_pressure", "input": "a2", "kind": "linear", "label": "oil pressure", "note": "sensor of 2024"},
        {"name": "oil_pressure", "input": "a2", "kind": "linear", "checked": "2026-11-28"},
    ],
    "divider": [{"top_ohm": 8200, "bottom_ohm": 10000}],
    "calibration": [
        {"counts": [1652, 3304], "volts": [1.333, 2.666]},
        {
            "counts": [6604.2, 13219.7],
            "volts": [1.331, 2.664],
            "bits": 14,
            "u_volts": [0.004, 0.008],
            "date": "2026-11-28",
        },
    ],
    "state": [{"name": "warm-up", "volts": [0.0, 0.1], "means": "heating"}],
    "lambda": [
        {
            "volts": [0.5, 4.5],
            "values": [0.60, 1.40],
            "bank": 1,
            "front": "differential",
            "accuracy": 0.01,
            "tau_ms": 80,
            "states": [{"name": "warm-up", "volts": [0.0, 0.1], "means": "heating"}],
            "divider": {"top_ohm": 6800, "bottom_ohm": 10000},
        },
        {
            "volts": [0.0, 5.0],
            "values": [9.0, 19.0],
            "scale": "afr",
            "stoich": 14.7,
            "calibration": {"counts": [1652, 3304], "volts": [1.333, 2.666]},
        },
    ],
    "linear": [
        {"unit": "kPa", "volts": [0.5, 4.5], "values": [20, 300], "accuracy": 3, "tau_ms": 5},
        {
            "unit": "V",
            "volts": [0, 5],
            "values": [0, 5],
            "expect": [2.48, 2.52],
            "divider": {"top_ohm": 6800, "bottom_ohm": 10000},
            "states": [{"name": "wire off", "volts": [0.0, 0.1]}],
        },
        {
            "unit": "V",
            "volts": [0, 8],
            "values": [0, 8],
            "checks": "lambda_1",
            "divider": {"top_ohm": 16800, "bottom_ohm": 10000},
        },
        {"unit": "%", **_LINE, "calibration": {"counts": [1652, 3304], "volts": [1.333, 2.666]}},
    ],
    "table": [
        {
            "unit": "g/s",
            "volts": [1.0, 2.0, 4.0],
            "values": [2, 20, 90],
            "accuracy": 2,
            "tau_ms": 20,
            "divider": {"top_ohm": 6800, "bottom_ohm": 10000},
            "states": [{"name": "wire off", "volts": [0.0, 0.5]}],
        },
        {"volts": [1, 2], "values": [2, 20], "calibration": {"counts": [1652, 3304], "volts": [1.333, 2.666]}},
    ],
    "thermistor": [
        {"pullup_ohm": 1800, "beta": 3435, "r25_ohm": 10000, "supply_v": 3.33, "accuracy": 2, "tau_ms": 5000},
        {
            "pullup_ohm": 1800,
            "points": [[0, 32000], [25, 10000], [90, 950]],
            "divider": {"top_ohm": 0, "bottom_ohm": 1},
        },
        {
            "pullup_ohm": 1800,
            "steinhart_hart": [0.00111, 0.000238, 1.02e-7],
            "calibration": {"counts": [1652, 3304], "volts": [1.333, 2.666]},
            "states": [{"name": "wire off", "volts": [4.9, 5.1]}],
        },
    ],
    "rtd": [
        {"pullup_ohm": 1000, "r0_ohm": 1000, "supply_v": 3.0, "accuracy": 1, "tau_ms": 2000},
        {
            "pullup_ohm": 1000,
            "r0_ohm": 1000,
            "divider": {"top_ohm": 0, "bottom_ohm": 1},
            "states": [{"name": "wire off", "volts": [2.9, 3.1]}],
        },
        {"pullup_ohm": 1000, "r0_ohm": 1000, "calibration": {"counts": [1652, 3304], "volts": [1.333, 2.666]}},
    ],
    "thermocouple": [
        {"type": "K", "gain": 122, "zero_v": 0.5, "cold": "box", "accuracy": 4, "tau_ms": 800},
        {
            "gain": 122,
            "cold_degc": 30,
            "divider": {"top_ohm": 6800, "bottom_ohm": 10000},
            "states": [{"name": "wire off", "volts": [4.9, 5.1]}],
        },
        {"gain": 122, "calibration": {"counts": [1652, 3304], "volts": [1.333, 2.666]}},
    ],
    "pulses": [
        {"per_rev": 2, "max_rpm": 9000, "ringing_us": 300, "polarity": "rising"},
        {"per_metre": 12, "max_kmh": 260, "min_period_us": 500},
    ],
    "frequency": [
        {
            "unit": "%",
            "hz": [50, 150],
            "values": [0, 100],
            "polarity": "falling",
            "min_period_us": 2000,
            "accuracy": 5,
            "tau_ms": 500,
        }
    ],
    "pulse_width": [{"per_cycle": 1, "polarity": "low", "ringing_us": 200}],
    "digital": [{"polarity": "low"}],
    "obd": [{"pid": "0C", "hz": 10, "stale_s": 2}, {"pid": "24", "take": "wide_1_lambda"}, {"pid": "long_trim_1"}],
    "can": [
        {"id": "5F0", "start_bit": 7, "length": 16, "order": "big", "factor": 0.1, "offset": 0, "unit": "kPa"},
        {
            "id": "18FF0102",
            "extended": True,
            "start_bit": 8,
            "length": 12,
            "signed": True,
            "when": {"start_bit": 0, "length": 4, "is": 2},
            "stale_s": 1,
        },
    ],
    "bus": [
        {"ask": True, "chip": "mcp2518fd", "crystal_mhz": 40},
        {"ask": True, "kbit": 500, "ecu": "7E8", "vin": False},
    ],
    "signal when": [{"start_bit": 0, "length": 4, "order": "little", "is": 2}],
}

# key, or "section: key" where a key has another meaning -> its meaning, if explanations.py does not give it
MEANING = {
    "engine": "the engine",
    "fuel": "what is in the tank",
    "target": "the lambda you want",
    "vehicle": "the car",
    "lean_warning": "the lamp's warning",
    "converters": "the external converters that are fitted",
    "customer": "the customer; printed on the report's first page",
    "operator": "who drove and measured; printed on the report's first page",
    "conditions": "the weather and the like; printed on the report's first page",
    "note": "a remark; printed on the report's first page",
    "channel: note": "a note to yourself; not shown anywhere",
    "label": "the channel's name in plots",
    "vehicle: name": "the car; printed in the report's title",
    "fuel: name": "the name of a known fuel, or a name for your own",
    "blend part: name": "the name of a known fuel, or a name for your own",
    "blend": "the parts of a blend",
    "by": "whether the parts are shares of volume or of mass",
    "c": "carbon atoms: per molecule, or 1 if the others are given per carbon atom",
    "h": "hydrogen atoms",
    "o": "oxygen atoms",
    "n": "nitrogen atoms",
    "when": "the condition under which this target counts",
    "x": "the first external converter",
    "y": "the second external converter",
    "divider": "the resistors in front of the converter",
    "calibration": "two voltages measured on the bench",
    "states": "volts by which the controller or sensor reports a condition instead of a value",
    "state: name": "a name of your own",
    "means": 'the condition: "heating" silences the lean warning until the sensor is warm',
    "state: volts": "lower and upper limit of the state's volts",
    "bits": "width of the converter's counts at the calibration, since another rate_hz may give other counts",
    "u_volts": "standard uncertainty of each of the two volts; without it 0.5 % of the multimeter is assumed",
    "date": "the day of the calibration, such as 2026-11-28",
    "checked": "the day on which a known frequency or free air was last confirmed, such as 2026-11-28",
    "calibration: volts": "what the multimeter read at those counts",
    "scale": "whether `values` are lambda or air-fuel ratio",
    "fuel: stoich": "the fuel's stoichiometric air-fuel ratio",
    "lambda: stoich": "the air-fuel ratio that the controller shows at lambda 1: a constant of the controller, not of "
    "the fuel",
    "unit": "the unit of `values`",
    "type": "the thermocouple's type",
    "lambda: values": "lambda (or air-fuel ratio) at those volts",
    "frequency: values": "what the sensor measures at those frequencies, in the channel's unit",
    "pulse_width: ringing_us": "for how many microseconds the line rings after an edge",
    "pulse_width: polarity": "the level at which the injector is open",
    "digital: polarity": "the level that counts as 1",
    "polarity": "which edge counts",
    "bus": "the car's diagnostic bus",
    "ask": "whether the car's computers may be asked; without it nothing is ever sent",
    "chip": "the bus controller that is fitted; `own`: that of the board itself",
    "crystal_mhz": "of the controller's crystal or oscillator",
    "kbit": "the bus's rate in kbit/s, where it is known",
    "vin": "whether the vehicle's number is asked for and kept with the codes; it never stands in a report",
    "take": "the part of a parameter that carries several",
    "obd: hz": "how often it is asked for; the car may be slower",
    "extended": "whether the id has 29 bits",
    "order": "which end of the signal comes first",
    "signed": "whether the signal's number is signed (two's complement)",
    "factor": "by which the signal's number is multiplied",
    "offset": "what is added then",
    "can: unit": "the unit of the value",
    "can: when": "the signal stands there only then",
    "signal when: is": "the number that stands there then",
}

# key -> its unit, where the key's ending does not show it
UNITS = {
    "rate_hz": "1/s",
    "volts": "V",
    "hz": "Hz",
    "values": "the channel's",
    "accuracy": "the channel's",
    "expect": "the channel's",
    "rpm": "1/min",
    "max_rpm": "1/min",
    "per_rev": "1/turn",
    "per_metre": "1/m",
    "per_cycle": "1/cycle",
    "gears": "1/min per km/h",
    "margin": "lambda",
    "gain": "V/V",
    "beta": "K",
    "points": "degC, ohm",
    "density_kg_m3": "kg/m3",
    "part": "share or %",
    "lambda": "lambda",
    "max_kmh": "km/h",
    "crystal_mhz": "MHz",
    "kbit": "kbit/s",
    "length": "bits",
}
ENDINGS = {
    "_cc": "cm3",
    "_kg": "kg",
    "_m2": "m2",
    "_l": "litres",
    "_s": "s",
    "_ms": "ms",
    "_us": "us",
    "_ohm": "ohm",
    "_v": "V",
    "_degc": "degC",
    "_kpa": "kPa",
    "_pct": "%",
}

# key -> allowed values, for keys with rules of their own
OWN_RULES = {
    "version": "1",
    "engine": "a group, see [engine](#engine)",
    "fuel": "a group, see [fuel](#fuel)",
    "target": "a group, or a list of up to 8, see [target](#target)",
    "channels": "a list of up to 32, see [channels](#channels)",
    "converters": "a group, see [converters](#converters)",
    "vehicle": "a group, see [vehicle](#vehicle)",
    "lean_warning": "a group, see [lean_warning](#lean_warning), or `false`",
    "blend": "a list of 2 to 6 parts, see [blend part](#blend-part)",
    "lambda": "a number from 0.4 to 1.6, a list or a table of them",
    "when": "a group, see [when](#when)",
    "is": "a number, [lower, higher] or the name of a state",
    "name": "up to 24 lower-case letters, digits and _, beginning with a letter",
    "input": "a0.. analog, p0.. pulses, d0.. digital, x0.. or y0.. external converters, x0-x1 a difference",
    "kind": "one of the kinds below",
    "divider": "a group, see [divider](#divider)",
    "calibration": "a group, see [calibration](#calibration)",
    "states": "a list of up to 8, see [state](#state)",
    "points": "three of [degC, ohm]",
    "bus": "a group, see [bus](#bus)",
    "pid": "a name, or two hexadecimal digits in quotes",
    "id": "hexadecimal digits in quotes, up to 7FF, or 1FFFFFFF with `extended`",
    "ecu": "hexadecimal digits in quotes",
    "can: when": "a group, see [signal when](#signal-when)",
}

# key -> its default in words, where the default is not a fixed value
DEFAULTS = {
    "label": "the name",
    "min_period_us": "half the shortest period",
    "tau_ms": "0",
    "lambda: tau_ms": "measured from the drive, else 80 assumed",
    "divider": "the drawings'",
    "front": '`"plain"`',
    "reference_v": "the board's own reference, 3.3",
    "by": '`"volume"`',
    "target": "the fuel's usual target",
    "o": "`0`",
    "n": "`0`",
    "lean_warning": "on, if the channels allow it",
    "fuel: density_kg_m3": "that of the known fuel",
    "blend part: density_kg_m3": "that of the known fuel",
    "pulses: ringing_us": "`0`",
    "screen": "`false`",
    "cold_degc": "compensated by the amplifier",
    "hz": "10 for values that follow the pedal, 0.5 for temperatures and long trims, else 1",
    "stale_s": "four periods, at least 2",
    "take": "the first",
    "kbit": "500 and 250 are tried",
    "ecu": "the computer that knows engine speed",
}


def whole(section: str, example: dict) -> dict:
    """A complete configuration around an example of a section or kind."""
    speed = {"name": "engine_speed", "input": "p0", "kind": "pulses", "per_rev": 2}
    lam = {"name": "lambda_1", "input": "a0", "kind": "lambda", "volts": [0.5, 4.5], "values": [0.6, 1.4]}
    load = {"name": "map", "input": "a1", "kind": "linear", "unit": "kPa", "volts": [0.5, 4.5], "values": [20, 300]}
    pedal = {"name": "throttle", "input": "a2", "kind": "linear", "unit": "%", **_LINE}
    switch = {"name": "high_boost", "input": "d0", "kind": "digital"}
    box = {"name": "box", "input": "a3", "kind": "rtd", "pullup_ohm": 1000, "r0_ohm": 1000}
    out = {"version": 1, "board": "rp2", "channels": [lam, speed, load, pedal, switch, box]}
    out["target"] = {"load": "map", "load_kpa": [40, 200], "lambda": [1.0, 0.8]}
    example = json.loads(json.dumps(example))
    if section == "top":
        if "bus" in example:
            out["channels"].append({"name": "from_the_car", "kind": "obd", "pid": "0C"})
        return {**out, **example, "target": out["target"]}
    if section == "blend part":
        rest = {"name": "petrol", "part": 100 - example["part"]}
        out["fuel"] = {"name": "a blend", "blend": [example, rest]}
    elif section == "when":
        out["target"] = [{"when": example, "lambda": 0.8}, {"lambda": 0.9}]
        out["lean_warning"] = False
    elif section == "target":
        out["lean_warning"] = False
        out["target"] = [example, {"lambda": 0.9}] if "when" in example else example
    elif section == "channel":
        out["channels"][3] = {**example, "unit": "kPa", **_LINE}
    elif section in ("divider", "calibration"):
        lam[section] = example
    elif section == "state":
        lam["states"] = [example]
    elif section == "bus":
        out["bus"] = example
        out["channels"].append({"name": "shown_here", "kind": "obd", "pid": "0C"})
    elif section == "signal when":
        signal = {"id": "5F0", "start_bit": 8, "length": 8, "when": example}
        out["channels"].append({"name": "shown_here", "kind": "can", **signal})
    elif section in ("obd", "can"):
        out["bus"] = {"ask": section == "obd"}
        out["channels"].append({"name": "shown_here", "kind": section, **example})
    elif section in KINDS:
        letter = {"pulses": "p1", "frequency": "p1", "pulse_width": "p1", "digital": "d1"}.get(section, "a4")
        out["channels"].append({"name": "shown_here", "input": letter, "kind": section, **example})
    else:
        out[section] = example
    return out
