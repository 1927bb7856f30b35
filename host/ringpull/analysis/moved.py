"""What else moved with a lean event: named as a possibility, never as a verdict."""

from __future__ import annotations

import numpy as np

from ringpull.analysis import roles
from ringpull.analysis.columns import Columns
from shared_math import speed

AROUND_S = 0.8  # before and after an event: what the channel is compared with
CLEAR = 4.0  # times the scatter around it
DUTY_LIMIT = 0.85

# role -> (least change that counts, direction that fits a lean event, words)
SIGNS = {
    "fuel_pressure": (12.0, -1, "fuel pressure over the manifold fell by {0:.0f} kPa"),
    "battery": (0.4, -1, "supply voltage fell by {0:.1f} V, which opens injectors later"),
    "intake": (4.0, 1, "intake air warmed by {0:.0f} degC"),
    "exhaust": (25.0, 1, "exhaust gas warmed by {0:.0f} degC"),
    "knock": (0.0, 1, "the knock channel rose"),
    "trim": (2.0, -1, "the fuel trim fell by {0:.0f} %"),
}


def change(values: np.ndarray, inside: slice, around: np.ndarray) -> tuple[float, float]:
    """(mean inside minus the straight line through the rows around, standard deviation about that line)."""
    rows = np.flatnonzero(around & np.isfinite(values))
    here = np.arange(inside.start, inside.stop)
    here = here[np.isfinite(values[here])]
    if len(rows) < 20 or len(here) < 5:
        return 0.0, np.inf
    line = np.polyfit(rows, values[rows], 1)
    miss = values[rows] - np.polyval(line, rows)
    return float(np.mean(values[here] - np.polyval(line, here))), float(np.std(miss))


def hints(columns: Columns, start_s: float, end_s: float, pull: tuple[float, float]) -> list[str]:
    """Sentences on what moved during an event, against the stretch around it inside the pull."""
    inside = columns.rows(start_s, end_s)
    around = np.zeros(len(columns), bool)
    around[columns.rows(max(pull[0], start_s - AROUND_S), min(pull[1], end_s + AROUND_S))] = True
    around[columns.rows(start_s - 0.08, end_s + 0.08)] = False
    out = []
    for role, (least, direction, words) in SIGNS.items():
        values = columns.extra.get(role)
        if values is None:
            continue
        if role == "fuel_pressure" and columns.map_kpa is not None:
            values = flat_pressure(values, columns.map_kpa)
        step, scatter = change(values, inside, around)
        rows = max(inside.stop - inside.start, 1)
        if step * direction > max(least, CLEAR * scatter / np.sqrt(rows)):
            out.append("possible cause: " + words.format(abs(step)))
    injector = columns.extra.get("injector")
    if injector is not None:
        channel = roles.channel_for("injector", columns.config.get("channels", [])) or {}
        strokes = columns.config.get("engine", {}).get("strokes", 4)
        per_cycle = channel.get("per_cycle", 1)
        duty = speed.duty_percent(injector[inside], columns.rpm[inside], per_cycle, strokes) / 100
        if np.isfinite(duty).any() and float(np.nanmax(duty)) > DUTY_LIMIT:
            out.append(f"possible cause: injector duty reached {np.nanmax(duty):.0%}, a limit in sight")
    wanted = columns.extra.get("boost_target")
    if wanted is not None and columns.map_kpa is not None:
        over = columns.map_kpa[inside] - wanted[inside]
        if np.isfinite(over).any() and float(np.nanmean(over)) > 8.0:
            out.append(f"possible cause: boost {np.nanmean(over):.0f} kPa above its target")
    return out


def flat_pressure(fuel_kpa: np.ndarray, map_kpa: np.ndarray) -> np.ndarray:
    """Fuel pressure less what of manifold pressure its regulator adds: the better of one and nought, by scatter."""
    over = fuel_kpa - map_kpa
    return over if np.nanstd(over) < np.nanstd(fuel_kpa) else fuel_kpa
