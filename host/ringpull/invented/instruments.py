"""The signals at the logger's terminals in the invented drive: sensor volts, tach edges, the passenger's button.

The configuration gives each sensor's volts. Noise, ringing and missing tach edges are invented and seeded.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np

from ringpull.invented import car, computer
from ringpull.invented.scenario import Drive

EVERY = 5  # steps between two lines of volts.csv: 200 lines a second
HEATED_S = 11.0
WARM_UP_V = 0.0
NOISE = {"lambda_1": 0.0015, "map": 0.35, "throttle": 0.06, "fuel_pressure": 1.6, "battery": 0.02}
PER_REV = 2
FIRING_DEG = (0.0, 0.35, -0.2, 0.1)  # flywheel marks and cylinders are never quite even
JITTER_DEG = 0.08
RINGING_SHARE = 0.02
RINGING_S = (30e-6, 250e-6)
MISSING_SHARE = 0.0025
BOUNCE_S = (0.0011, 0.0024)

CONFIG: dict[str, Any] = {
    "version": 1,
    "board": "generic",
    "rate_hz": 200,
    "engine": {"cylinders": 4, "strokes": 4, "displacement_cc": 1598},
    "fuel": {"name": "petrol"},
    "target": {"load": "map", "load_kpa": [40, 100, 200], "lambda": [1.0, 0.88, 0.79]},
    "vehicle": {
        "name": "hill-climb car, 1.6 litre turbo (invented)",
        "mass_kg": 1080,
        "cda_m2": 0.66,
        "crr": 0.014,
        "gears": [round(car.rpm_per_kmh(gear), 2) for gear in range(1, len(car.GEARS) + 1)],
        "exhaust_l": 1.8,
    },
    "bus": {"ask": True},
    "channels": [
        {
            "name": "lambda_1",
            "input": "a0",
            "kind": "lambda",
            "volts": [0.0, 5.0],
            "values": [0.60, 1.40],
            "tau_ms": 80,
            "states": [{"name": "warm-up", "volts": [-0.05, 0.05]}],
        },
        {"name": "engine_speed", "input": "p0", "kind": "pulses", "per_rev": PER_REV, "max_rpm": 9000},
        {"name": "map", "input": "a1", "kind": "linear", "unit": "kPa", "volts": [0.5, 4.5], "values": [20, 300]},
        {"name": "throttle", "input": "a2", "kind": "linear", "unit": "%", "volts": [0.5, 4.5], "values": [0, 100]},
        {
            "name": "fuel_pressure",
            "input": "a3",
            "kind": "linear",
            "unit": "kPa",
            "volts": [0.5, 4.5],
            "values": [0, 1000],
        },
        {"name": "battery", "input": "a4", "kind": "linear", "unit": "V", "volts": [0.0, 18.0], "values": [0.0, 18.0]},
        *computer.CHANNELS,
    ],
}


def volts(drive: Drive, seed: int) -> dict[str, np.ndarray]:
    """t_s and the volts at the terminal of each analog channel, 200 a second."""
    random = np.random.default_rng([seed, 2])
    kept = slice(None, None, EVERY)
    values = {
        "lambda_1": drive.lambda_shown[kept],
        "map": drive.map_kpa[kept],
        "throttle": drive.throttle_pct[kept],
        "fuel_pressure": drive.rail_kpa[kept],
        "battery": drive.battery_v[kept],
    }
    t_s = drive.t_s[kept]
    out = {"t_s": np.round(t_s, 3)}
    for channel in CONFIG["channels"]:
        name = channel["name"]
        if name not in values:
            continue
        noisy = values[name] + random.normal(0.0, NOISE[name], len(t_s))
        shown = np.interp(noisy, channel["values"], channel["volts"])
        if name == "lambda_1":  # the output is constant while the controller heats the sensor
            shown = np.where(t_s < HEATED_S, WARM_UP_V, shown)
        out[name] = np.round(shown, 4)
    return out


def edges(drive: Drive, seed: int) -> np.ndarray:
    """Times of the rising tach edges in seconds: unevenly spaced, some missing, some followed by ringing."""
    random = np.random.default_rng([seed, 3])
    count = int(drive.crank_rev[-1] * PER_REV)
    number = np.arange(1, count)
    wander_deg = np.take(FIRING_DEG, number % len(FIRING_DEG)) + random.normal(0.0, JITTER_DEG, len(number))
    turning = np.concatenate([[True], np.diff(drive.crank_rev) > 0.0])
    at_rev = number / PER_REV + wander_deg / 360.0
    t_s = np.sort(np.interp(at_rev, drive.crank_rev[turning], drive.t_s[turning]))
    t_s = t_s[random.random(len(t_s)) >= MISSING_SHARE]
    rings = t_s[random.random(len(t_s)) < RINGING_SHARE]
    rings = rings + random.uniform(*RINGING_S, len(rings))
    return np.round(np.sort(np.concatenate([t_s, rings])), 6)


def buttons(drive: Drive) -> list[tuple[float, str]]:
    """(t_s, "press" or "release") of the button; every contact bounces once."""
    out = []
    for pressed_s, held_s in drive.presses:
        away_s, back_s = BOUNCE_S
        out += [(pressed_s, "press"), (pressed_s + away_s, "release"), (pressed_s + back_s, "press")]
        out += [(pressed_s + held_s, "release")]
    return [(round(t_s, 6), event) for t_s, event in out]


def write(drive: Drive, folder: Path, seed: int) -> None:
    """Write volts.csv, edges.csv, buttons.csv and logger.json to an existing folder."""
    import pyarrow as pa
    from pyarrow import csv

    plain = csv.WriteOptions(quoting_style="none")
    csv.write_csv(pa.table(volts(drive, seed)), folder / "volts.csv", plain)
    times_s = edges(drive, seed)
    csv.write_csv(pa.table({"t_s": times_s, "input": ["engine_speed"] * len(times_s)}), folder / "edges.csv", plain)
    lines = "".join(f"{t_s:.6f},{event}\n" for t_s, event in buttons(drive))
    (folder / "buttons.csv").write_text("t_s,event\n" + lines)
    (folder / "logger.json").write_text(json.dumps(CONFIG, indent=1) + "\n")
