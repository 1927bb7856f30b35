"""Open recordings of real drives with a mixture made up for them: speed, pressure and throttle are what cars did."""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from ringpull.analysis.drive_state.columns import Columns
from ringpull.files import configuration

RATE_HZ = 50
FULL_KPA, BOOST_KPA, FULL_S = 95.0, 160.0, 1.5  # BOOST_KPA: of an engine that makes no vacuum
GAIN_RPM, GAIN_RPM_S = 500.0, 25.0  # of that
LEAN, LEAN_S = 0.10, 0.8
LAG_S, VOLUME_L = 0.06, 1.5
DISPLACEMENT_CC = 1600
LEAST_ROWS = 100
# a column's name in an open recording, whatever its unit is called
NAMES = {
    "rpm": r"engine.?rpm",
    "map": r"intake.?manifold",
    "throttle": r"throttle( |$|_pos)|absolute throttle",
    "time": r"^time$",
}
TARGET = {"load": "map", "load_kpa": [40, 75, 100, 250], "lambda": [1.0, 1.0, 0.88, 0.80]}
CHANNELS = [
    {
        "name": "lambda_1",
        "input": "a0",
        "kind": "lambda",
        "volts": [0, 5],
        "values": [0.6, 1.6],
        "tau_ms": 1000 * LAG_S,
    },
    {"name": "engine_speed", "input": "p0", "kind": "pulses", "per_rev": 2, "max_rpm": 9000},
    {"name": "map", "input": "a1", "kind": "linear", "unit": "kPa", "volts": [0, 5], "values": [0, 300]},
    {"name": "throttle", "input": "a2", "kind": "linear", "unit": "%", "volts": [0, 5], "values": [0, 100]},
]
CONFIG = {
    "rate_hz": RATE_HZ,
    "engine": {"cylinders": 4, "strokes": 4, "displacement_cc": DISPLACEMENT_CC},
    "vehicle": {"exhaust_l": VOLUME_L},
    "fuel": {"name": "petrol"},
    "target": TARGET,
    "channels": CHANNELS,
}


@dataclass(frozen=True)
class Recording:
    """A drive as it was recorded, on an even grid: (rows,) each. full: (first row, row after the last) of its
    stretches under full load, by pressure alone."""

    time_s: np.ndarray
    rpm: np.ndarray
    map_kpa: np.ndarray
    throttle: np.ndarray
    full: list[tuple[int, int]]


def seconds_of(text: str) -> float:
    """Seconds of a time of day or of a plain number."""
    parts = [float(part) for part in text.split(":")]
    return sum(part * 60.0**k for k, part in enumerate(reversed(parts)))


def read(path: Path) -> Recording | None:
    """A recording from CSV: time of day or one row a second. None without engine speed, pressure and throttle."""
    with path.open(encoding="utf-8", errors="replace", newline="") as text:
        rows = [row for row in csv.reader(text) if row]
    if len(rows) < LEAST_ROWS:
        return None
    heads = [re.sub(r"[\[(].*", "", one).strip().lower() for one in rows[0]]
    at = {
        name: next((k for k, head in enumerate(heads) if re.search(form, head)), None) for name, form in NAMES.items()
    }
    if None in (at["rpm"], at["map"], at["throttle"]):
        return None

    def numbers(name: str) -> np.ndarray:
        column = [row[at[name]].strip() if len(row) > at[name] else "" for row in rows[1:]]
        return np.array([float(one) if re.fullmatch(r"-?\d+(\.\d*)?", one) else np.nan for one in column])

    clock = at["time"]
    times = np.arange(len(rows) - 1.0) if clock is None else np.array([seconds_of(row[clock]) for row in rows[1:]])
    times = np.maximum.accumulate(times - times[0])
    grid = np.arange(0.0, times[-1], 1.0 / RATE_HZ)
    columns = []
    values_of = {name: numbers(name) for name in ("rpm", "map", "throttle")}
    asked = np.ones(len(times), bool)
    if clock is None:  # a value is repeated until the next one is asked for
        asked[1:] = np.any(np.diff(np.stack(list(values_of.values())), axis=1) != 0, axis=0)
    for values in values_of.values():
        there = np.isfinite(values) & asked
        if there.sum() < LEAST_ROWS:
            return None
        columns.append(np.interp(grid, times[there], values[there]))
    return Recording(grid, *columns, full_load(columns[0], columns[1]))


def full_load(rpm: np.ndarray, map_kpa: np.ndarray) -> list[tuple[int, int]]:
    """Rows of stretches of full load by pressure for FULL_S; of an engine that makes no vacuum, which cruises under
    boost as well, of those the rise of engine speed where it gains GAIN_RPM at GAIN_RPM_S."""
    vacuum = np.median(map_kpa[rpm > 500.0]) < FULL_KPA
    flags = (map_kpa >= (FULL_KPA if vacuum else BOOST_KPA)) & (rpm > 1000.0)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], flags.astype(np.int8), [0]])))
    out = []
    for first, last in edges.reshape(-1, 2).tolist():
        if not vacuum:
            first += int(np.argmin(rpm[first:last]))
            last = first + int(np.argmax(rpm[first:last])) + 1
        seconds = (last - first) / RATE_HZ
        if seconds >= FULL_S and (vacuum or rpm[last - 1] - rpm[first] >= max(GAIN_RPM, GAIN_RPM_S * seconds)):
            out.append((first, last))
    return out


def columns_of(recording: Recording, random: np.random.Generator, lean: Sequence[tuple[int, int]] = ()) -> Columns:
    """The recording as a logger would have it: lambda at target, with scatter, behind pipe and lag. lean: rows (first,
    after last) at whose injection the mixture is LEAN too lean."""
    import pandas as pd

    rows = len(recording.time_s)
    mixture = np.interp(recording.map_kpa, TARGET["load_kpa"], TARGET["lambda"])
    for first, last in lean:
        mixture[first:last] += LEAN
    rpm = np.maximum(recording.rpm, 500.0)
    # speed-density at an efficiency of 0.9 and 303 K, exhaust at 950 K and 110 kPa (common practice, no source)
    air_g_s = 0.9 * DISPLACEMENT_CC * rpm / 120.0 * np.maximum(recording.map_kpa, 20.0) / (287.05 * 303.0)
    litres_s = air_g_s * 1.08 * 300.95 * 950.0 / (110.0 * 1000.0)
    arrives_s = np.maximum.accumulate(recording.time_s + 540.0 / (6.0 * rpm) + VOLUME_L / litres_s)
    reached = np.interp(recording.time_s, arrives_s, mixture)
    keep = float(np.exp(-1.0 / RATE_HZ / LAG_S))
    sensed = pd.Series(reached).ewm(alpha=1.0 - keep, adjust=False).mean().to_numpy()
    measured = sensed + random.normal(0.0, 0.004, rows)
    columns = Columns(recording.time_s, measured, recording.rpm.copy(), recording.map_kpa, recording.throttle)
    columns.config, columns.banks = configuration.of(CONFIG), {"lambda_1": measured}
    columns.named = {"lambda_1": measured, "engine_speed": columns.rpm, "map": columns.map_kpa}
    columns.named["throttle"] = columns.throttle
    return columns
