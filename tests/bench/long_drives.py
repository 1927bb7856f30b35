"""Long drives for the figures of report and view: the demo's three pulls over and over, with more channels."""

from __future__ import annotations

import json
from pathlib import Path

import big_rings
import numpy as np

import ringpull
from shared_math import channels, config

CARD = Path(__file__).resolve().parents[2] / "demo_logs" / "v1_marked"
CHANNELS = 12
PULLS = 3  # in a lap
HOUR_S = 3600.0
REST_ROWS = 12_000  # of a standing engine, a minute that is written over and over


def configuration() -> dict:
    """The demo's configuration with analog channels added up to CHANNELS."""
    made = json.loads((CARD / "logger.json").read_text())
    volts = {"kind": "linear", "unit": "V", "volts": [0, 5], "values": [0, 5]}
    for n in range(CHANNELS - len(made["channels"])):
        made["channels"].append({"name": f"more_{n}", "input": f"a{5 + n}", **volts})
    return made


def lap() -> tuple[list[dict], np.ndarray]:
    """(columns, (rows, columns) integers): the demo's rows; the added channels move slowly, with 2 counts of noise."""
    raw = ringpull.read(CARD).sessions[0].raw()
    random = np.random.default_rng(4)
    columns = channels.columns(config.defaults(configuration()), lambda name: (12, 3.3, 0))
    out = np.zeros((len(raw), len(columns)), np.int64)
    for at, column in enumerate(columns):
        name = column["n"]
        if column["r"] == "mark":
            out[:, at] = np.minimum(raw[name], 2 * PULLS)  # the press that was taken back later is left out
        elif name in raw and column["r"] not in ("late", "flag"):
            out[:, at] = raw[name]
        elif column["r"] == "adc":
            wave = 2000 + 700 * np.sin(np.arange(len(raw)) / 900 + at) + random.normal(0, 2, len(raw))
            out[:, at] = np.rint(wave)
        elif column["r"] == "late":
            out[:, at] = random.integers(0, 40, len(raw))
    return columns, out


def write(path: Path, seconds: float) -> int:
    """Write a ring file of a drive of at least so many seconds, in whole laps; returns the number of pulls."""
    columns, table = lap()
    laps = int(np.ceil(seconds * big_rings.RATE_HZ / len(table)))
    big_rings.write_laps(path, columns, table, laps, configuration(), "mark")
    return laps * PULLS


def left_on(path: Path, hours: float) -> int:
    """Write a ring file of a lap, hours in which the engine stands and every converter's noise goes on, and the lap
    again; returns its rows."""
    columns, table = lap()
    bits = [column["b"] for column in columns]
    rest = np.repeat(table[-1:], REST_ROWS, axis=0)
    random = np.random.default_rng(5)
    for at, column in enumerate(columns):
        if column["r"] == "adc":
            rest[:, at] = np.clip(rest[:, at] + np.rint(random.normal(0, 2, REST_ROWS)), 0, 4095)
        elif column["r"] == "age":
            rest[:, at] = (1 << column["b"]) - 1
        elif column["r"] == "late":
            rest[:, at] = random.integers(0, 40, REST_ROWS)
    driven, counts = big_rings.blocks_of(table, bits, False)
    standing, standing_counts = big_rings.blocks_of(rest, bits, False)
    times = int(np.ceil(hours * HOUR_S * big_rings.RATE_HZ / REST_ROWS))
    blocks = np.concatenate([driven, np.tile(standing, (times, 1)), driven])
    rows = np.concatenate([counts, np.tile(standing_counts, times), counts])
    return big_rings._write(path, columns, configuration(), blocks, rows, len(blocks))
