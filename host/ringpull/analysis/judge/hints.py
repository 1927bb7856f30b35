"""Changes of other channels during a lean event: possible causes, never a verdict."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ringpull.analysis.drive_state import roles, sensor_range, under_load
from ringpull.analysis.drive_state.columns import Columns
from ringpull.analysis.judge import limiter
from shared_math import judging, speed

AROUND_S = 0.8  # span before and after an event with which the channel is compared
CLEAR = 4.0  # a change must exceed this many standard uncertainties from scatter
DUTY_LIMIT = 0.85
NEARLY_ALL = 0.95

# role -> (least change that counts, its direction with a lean event)
SIGNS = {
    "fuel_pressure": (12.0, -1),
    "battery": (0.4, -1),
    "intake": (4.0, 1),
    "trim": (2.0, -1),
    "exhaust": (25.0, 1),
    "knock": (0.0, 1),
}
MOST_BASE = 20_000  # most rows from which a base is computed
# role -> least distance from its base, for supplies that fade along a whole pull instead of stepping at the event
BASES = {"fuel_pressure": 20.0, "battery": 0.8}


@dataclass(frozen=True)
class Hint:
    """kind: "moved" (a role stepped by `size` at the event), "low" (a role was `size` below its base), "duty", "boost"
    (kPa above its target), "limiter" (rpm) or "never measured"."""

    kind: str
    size: float = 0.0
    role: str = ""


def change(values: np.ndarray, inside: slice, around: np.ndarray) -> tuple[float, float]:
    """(mean inside minus the straight line through the rows around, its standard error).

    The error is larger if the line is extrapolated.
    """
    rows = np.flatnonzero(around)
    rows = rows[np.isfinite(values[rows])]
    here = np.arange(inside.start, inside.stop)
    here = here[np.isfinite(values[here])]
    if len(rows) < 20 or len(here) < 5:
        return 0.0, np.inf
    middle = rows.mean()
    line = np.polyfit(rows - middle, values[rows], 1)
    miss = values[rows] - np.polyval(line, rows - middle)
    share = 1.0 / len(here) + 1.0 / len(rows) + (here.mean() - middle) ** 2 / np.sum((rows - middle) ** 2)
    return float(np.mean(values[here] - np.polyval(line, here - middle))), float(np.std(miss) * np.sqrt(share))


def below_base(values: np.ndarray, columns: Columns, inside: slice, loaded: np.ndarray) -> tuple[float, float]:
    """(distance of the mean inside below the median elsewhere, robust deviation there).

    Elsewhere is under load if there is a second of that, else wherever the engine ran. Very many rows are sampled
    evenly.
    """
    with np.errstate(invalid="ignore"):
        there = np.isfinite(values) & (columns.rpm > judging.RUNNING_RPM)
    there[inside] = False
    under_load = there & loaded
    rows = np.flatnonzero(under_load if np.count_nonzero(under_load) * columns.period_s >= 1.0 else there)
    rows = rows[:: max(1, len(rows) // MOST_BASE)]
    here = values[inside][np.isfinite(values[inside])]
    if len(rows) < 20 or len(here) < 5:
        return 0.0, np.inf
    base = float(np.median(values[rows]))
    return base - float(here.mean()), float(1.4826 * np.median(np.abs(values[rows] - base)))


def around(columns: Columns, start_s: float, end_s: float, pull: tuple[float, float]) -> tuple[slice, np.ndarray]:
    """(rows of an event, bool array of the rows of its pull around it)."""
    near = np.zeros(len(columns), bool)
    near[columns.rows(max(pull[0], start_s - AROUND_S), min(pull[1], end_s + AROUND_S))] = True
    near[columns.rows(start_s - 0.08, end_s + 0.08)] = False
    return columns.rows(start_s, end_s), near


def hints(
    columns: Columns,
    start_s: float,
    end_s: float,
    pull: tuple[float, float],
    loaded: np.ndarray | None = None,
    limited: Sequence[limiter.Span] | None = None,
) -> list[Hint]:
    """The changes during an event, against the rows around it in the pull or against a base.

    loaded: under_load.under_load(), limited: limiter.stretches(), if already known.
    """
    loaded = under_load.under_load(columns)[0] if loaded is None else loaded
    limited = limiter.stretches(columns, loaded) if limited is None else limited
    inside, near = around(columns, start_s, end_s, pull)
    out = []
    for role, (least, direction) in SIGNS.items():
        values = columns.extra.get(role)
        if values is None:
            continue
        if role == "fuel_pressure" and columns.map_kpa is not None:
            values = flat_pressure(values, columns.map_kpa)
        step, error = change(values, inside, near)
        if step * direction > max(least, CLEAR * error):
            out.append(Hint("moved", abs(step), role))
        elif role in BASES:
            fall, scatter = below_base(values, columns, inside, loaded)
            if fall > max(BASES[role], 2.0 * scatter):
                out.append(Hint("low", fall, role))
    injector = columns.extra.get("injector")
    if injector is not None:
        channel = roles.channel_for("injector", columns.config.channels)
        per_cycle = 1 if channel is None else channel.per_cycle
        strokes = columns.config.engine.strokes
        duty = speed.duty_percent(injector[inside], columns.rpm[inside], per_cycle, strokes) / 100
        if np.isfinite(duty).any() and float(np.nanmax(duty)) > DUTY_LIMIT:
            out.append(Hint("duty", float(np.nanmax(duty))))
    wanted = columns.extra.get("boost_target")
    if wanted is not None and columns.map_kpa is not None:
        over = columns.map_kpa[inside] - wanted[inside]
        if np.isfinite(over).any() and float(np.nanmean(over)) > 8.0:
            out.append(Hint("boost", float(np.nanmean(over))))
    return out + at_limiter(columns, limiter.at(start_s, end_s, limited)) + never_measured(columns)


def at_limiter(columns: Columns, stretch: limiter.Span | None) -> list[Hint]:
    """A hint if an event lies in a stretch at the limiter."""
    if stretch is None:
        return []
    rpm = columns.rpm[columns.rows(*stretch)]
    return [Hint("limiter", float(np.nanmean(rpm)))] if np.isfinite(rpm).any() else []


def never_measured(columns: Columns) -> list[Hint]:
    """A hint if lambda was at the lean end of the sensor's range nearly throughout."""
    known = np.isfinite(columns.lambda_)
    if not known.any() or sensor_range.rails(columns)[1][known].mean() < NEARLY_ALL:
        return []
    return [Hint("never measured")]


def flat_pressure(fuel_kpa: np.ndarray, map_kpa: np.ndarray) -> np.ndarray:
    """Fuel pressure minus manifold pressure if the regulator follows it; else as it is. The one that scatters less."""
    over = fuel_kpa - map_kpa
    some = slice(None, None, max(1, len(over) // MOST_BASE))  # a sample shows which scatters less
    if not np.isfinite(over[some]).any():
        return fuel_kpa
    return over if np.nanstd(over[some]) < np.nanstd(fuel_kpa[some]) else fuel_kpa
