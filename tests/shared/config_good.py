"""A configuration that uses everything."""


def _linear(name, place):
    return {"name": name, "input": place, "kind": "linear", "unit": "bar", "volts": [0.5, 4.5], "values": [0, 10]}


def good():
    """A configuration that uses every kind and block."""
    return {
        "version": 1,
        "board": "generic",
        "rate_hz": 200,
        "engine": {"cylinders": 4, "strokes": 4, "displacement_cc": 1600},
        "fuel": {"name": "petrol"},
        "lean_warning": {"margin": 0.05, "after_s": 0.3, "buzzer": True},
        "screen": True,
        "reference_v": 3.0,
        "bus": {"ask": True, "chip": "mcp2515", "crystal_mhz": 16, "kbit": 500, "ecu": "7E8", "vin": False},
        "converters": {"x": "mcp3304", "y": "ads1115"},
        "vehicle": {"name": "hill-climb car", "mass_kg": 920, "gears": [120, 70, 50], "exhaust_l": 1.4},
        "target": [
            {"when": {"channel": "high_boost", "is": 1}, "load": "map", "load_kpa": [40, 200], "lambda": [1.0, 0.78]},
            {"load": "map", "load_kpa": [40, 200], "rpm": [1000, 7000], "lambda": [[1.0, 0.8], [1.0, 0.78]]},
        ],
        "channels": [
            {
                "name": "lambda_1",
                "input": "a0",
                "kind": "lambda",
                "volts": [0.5, 4.5],
                "values": [0.6, 1.4],
                "divider": {"top_ohm": 6800, "bottom_ohm": 10000},
                "calibration": {"counts": [100, 3000], "volts": [0.2, 4.0]},
                "states": [{"name": "warm_up", "volts": [0.0, 0.2]}, {"name": "fault", "volts": [4.8, 5.0]}],
                "bank": 1,
                "front": "differential",
                "accuracy": 0.01,
                "tau_ms": 80,
            },
            {"name": "map", "input": "a1", "kind": "linear", "unit": "kPa", "volts": [0.5, 4.5], "values": [20, 300]},
            {
                "name": "air_flow",
                "input": "a2",
                "kind": "table",
                "unit": "g/s",
                "volts": [1, 2, 4],
                "values": [2, 20, 90],
            },
            {
                "name": "coolant",
                "input": "a3",
                "kind": "thermistor",
                "pullup_ohm": 1800,
                "beta": 3435,
                "r25_ohm": 10000,
            },
            {"name": "charge", "input": "a4", "kind": "rtd", "pullup_ohm": 1000, "r0_ohm": 1000},
            {"name": "engine_speed", "input": "p0", "kind": "pulses", "per_rev": 2, "max_rpm": 9000, "ringing_us": 300},
            {"name": "wheel_speed", "input": "p1", "kind": "pulses", "per_metre": 12},
            {"name": "ethanol", "input": "p2", "kind": "frequency", "unit": "%", "hz": [50, 150], "values": [0, 100]},
            {"name": "exhaust", "input": "a5", "kind": "thermocouple", "gain": 122, "zero_v": 0.5, "cold": "charge"},
            {"name": "high_boost", "input": "d0", "kind": "digital"},
            {"name": "injector", "input": "p3", "kind": "pulse_width", "per_cycle": 2, "ringing_us": 150},
            _linear("fuel_pressure", "x0-x1"),
            _linear("oil_pressure", "x7"),
            _linear("oil_temperature", "y1-y3"),
            {"name": "short_trim", "kind": "obd", "pid": "short_trim_1", "hz": 2, "stale_s": 3},
            {"name": "wide_volts", "kind": "obd", "pid": "24", "take": "wide_1_volts"},
            {
                "name": "gearbox_oil",
                "kind": "can",
                "id": "5F0",
                "start_bit": 7,
                "length": 16,
                "order": "big",
                "factor": 0.1,
                "offset": -40,
                "unit": "degC",
                "when": {"start_bit": 32, "length": 4, "is": 2},
            },
            {
                "name": "lambda_1_wire",
                "input": "a8",
                "kind": "linear",
                "unit": "V",
                "volts": [0, 5],
                "values": [0, 5],
                "divider": {"top_ohm": 16800, "bottom_ohm": 10000},
                "checks": "lambda_1",
            },
        ],
    }
