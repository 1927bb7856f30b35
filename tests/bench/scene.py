"""The drive that the figures are taken on: 200 rows a second, six analog channels, engine speed, noise, for a while."""

from __future__ import annotations

from pathlib import Path

from truth.profile import Profile, holds
from truth.signals import Signals, Tach

ANALOG = ("lambda_1", "map", "throttle", "fuel_pressure", "battery", "extra")
DURATION_S = 120.0


def write_signals(folder: Path) -> Path:
    """Signal files and logger.json in `folder`; returns it."""
    speed = holds([2000, 4500, 3000, 6000], DURATION_S / 4 - 2.0, 2.0)
    middle = {"lambda_1": 0.9, "map": 120.0, "throttle": 50.0, "fuel_pressure": 400.0, "battery": 13.8, "extra": 40.0}
    lines = {
        name: Profile([(t, middle[name] * (1 + 0.05 * (t % 4 > 1))) for t in range(int(DURATION_S) + 1)])
        for name in ANALOG
    }
    return Signals(speed, Tach(2), lines, rate_hz=200).write(folder)
