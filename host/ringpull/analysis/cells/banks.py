"""The difference of two banks by engine speed and load. Each bank is judged; the leaner decides, never the mean."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ringpull.analysis.cells import pooling
from ringpull.analysis.cells.passes import Axes, SessionPulls, passes, units_of
from ringpull.analysis.drive_state import roles
from ringpull.analysis.judge import uncertainty

LEAST_PASSES = 3


@dataclass(frozen=True)
class BankCell:
    """The difference of the banks in one cell.

    difference: lambda of the second bank minus the first; low, high: its 95 % interval from passes (NaN if too few).
    systematic: half-width of the error that shifts all differences alike. leaner: the bank that is leaner by more than
    both.
    """

    rpm: float
    load: float | None
    passes: int
    difference: float
    low: float
    high: float
    leaner: str
    systematic: float = 0.0


@dataclass(frozen=True)
class Banks:
    """names: the two channels compared. cells: by engine speed and load, which is in load_unit.

    systematic: by how much lambda may differ because of the sensors alone.
    """

    names: tuple[str, str]
    cells: list[BankCell]
    load_unit: str
    systematic: float


def banks(here: SessionPulls, axes: Axes) -> Banks | None:
    """The difference of a session's two banks; None if it doesn't have two."""
    judged = here.judged
    columns = judged.columns
    names = [name for name, values in columns.banks.items() if np.isfinite(values).any()]
    if len(names) < 2:
        return None
    first, second = names[:2]
    apart = np.where(judged.masks.valid, judged.each_bank[second] - judged.each_bank[first], np.nan)
    found = passes(here, apart, axes)
    sensors = {c.name: c for c in roles.lambda_channels(columns.config.channels)}
    parts = [
        uncertainty.of_channel(columns, sensors.get(name), judged.budget.at_lambda).systematic
        for name in (first, second)
    ]
    shift = 1.96 * float(np.hypot(parts[0], parts[1]))
    cells = []
    if found:
        keys = sorted({(p.load, p.speed) for p in found})
        number = {key: at for at, key in enumerate(keys)}
        cell = np.array([number[p.load, p.speed] for p in found])
        unit = units_of(found)
        value = np.array([p.value for p in found])
        pooled = pooling.pool(cell, unit, value)
        for at, (load, speed) in enumerate(keys):
            rows = value[cell == at]
            mean, half, _ = pooling.interval(rows, pooled)
            half = half if len(set(unit[cell == at])) >= LEAST_PASSES else float("nan")
            leaner = second if mean - half > shift else first if mean + half < -shift else "neither shown"
            place = float(axes.speeds[speed]), None if axes.loads is None else float(axes.loads[load])
            cells.append(BankCell(*place, len(rows), mean, mean - half, mean + half, leaner, shift))
    return Banks((first, second), cells, columns.load_unit, shift)
