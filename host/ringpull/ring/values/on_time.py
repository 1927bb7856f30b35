"""On-time and duty of a pulse_width channel (an injector)."""

from __future__ import annotations

import numpy as np

from ringpull.files.configuration import ConfiguredChannel
from ringpull.ring.rows.setup import Setup
from shared_math import speed as shared_speed

Array = np.ndarray

CUT_CYCLES = 2.0  # without a pulse for so many times their spacing the fuel is cut


def on_ms(setup: Setup, channel: ConfiguredChannel, raw: dict[str, Array], rpm: Array | None) -> Array:
    """(rows,) length in ms of the last complete pulse before each row.

    0 if the last pulse ended longer ago than two pulses take at this engine speed (fuel is cut), or than the file can
    record. NaN before the first pulse, and if a pulse was too long for the column. rpm: (rows,); None without engine
    speed.
    """
    name = channel.name
    top = {column.name: column.top for column in setup.columns}
    on, age = raw[name + ".on"].astype(float), raw[name + ".age"].astype(float)
    begun = np.maximum.accumulate(raw[name] != 0)
    out = np.where(begun & (on < top[name + ".on"] - 1), on / 1000, np.nan)
    gone = age >= top[name + ".age"] - 1
    if rpm is not None:
        with np.errstate(divide="ignore", invalid="ignore"):
            spacing_us = (60e6 if setup.config.engine.strokes == 2 else 120e6) / rpm / channel.per_cycle
            gone |= age - on > CUT_CYCLES * spacing_us
    return np.where(begun & gone, 0.0, out)


def duty_pct(setup: Setup, channel: ConfiguredChannel, on: Array, rpm: Array) -> Array:
    """(rows,) share of time in per cent that the injector is open; 0 during a fuel cut, NaN without engine speed."""
    duty = shared_speed.duty_percent(on, rpm, channel.per_cycle, setup.config.engine.strokes)
    return np.where(on == 0, 0.0, duty)
