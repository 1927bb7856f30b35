"""The lean warning on decoded rows: what the logger's lamp should have shown. For tests."""

from __future__ import annotations

import numpy as np
import pandas as pd

from shared_math import channels, config, judging, lean_watch, target, transfer

LOOKS_HZ = 20


def replay(settings: dict, frame: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """(time_s of each look, whether the warning was on after it). settings: as in logger.json; frame: decoded rows.

    Everything but the watch itself is done in floats from decoded columns, twenty times a second.
    """
    settings = config.defaults(settings)
    named = {one["name"]: one for one in settings["channels"]}
    sensors = lean_watch.sensors(settings["channels"])
    entry = lean_watch.entries(settings["target"])[0]
    load_name = channels.column_name(named[entry["load"]])
    speed_name = channels.column_name(next(one for one in settings["channels"] if "per_rev" in one))
    warning = settings["lean_warning"]
    warm = [judging.HEATING in map(judging.meaning, one.get("states", ())) for one in sensors]
    in_kpa = named[entry["load"]]["unit"] == "kPa"
    has_throttle = "throttle" in named
    watch = lean_watch.LeanWatch(len(sensors), warning["margin"], warning["after_s"], in_kpa, warm, has_throttle)
    rows = frame.iloc[:: settings["rate_hz"] // LOOKS_HZ]
    throttle = rows["throttle_pct"].to_numpy() if "throttle_pct" in rows else None
    lambdas = np.column_stack([rows[channels.column_name(one)].to_numpy() for one in sensors])
    ends = [[float(np.interp(v, sorted(one["volts"]), sorted(one["volts"]))) for v in one["volts"]] for one in sensors]
    out = np.zeros(len(rows), bool)
    manifold = rows["map_kpa"].to_numpy() if "map_kpa" in rows else None
    rpm, load = rows[speed_name].to_numpy(), rows[load_name].to_numpy()
    for n in range(len(rows)):
        values: list[int | None] = []
        rails = []
        for bank, one in enumerate(sensors):
            value = lambdas[n, bank]
            known = np.isfinite(value)
            values.append(round(1000 * value) if known else None)
            scale = one.get("stoich", 1.0) if one.get("scale") == "afr" else 1.0
            volts = float(np.interp(value * scale, *_rising(one["values"], one["volts"]))) if known else ends[bank][0]
            end = transfer.at_rail(one, volts) if known else 0
            rails.append(
                end if (one["values"][-1] > one["values"][0]) == (one["volts"][-1] > one["volts"][0]) else -end
            )
        speed = rpm[n] if np.isfinite(rpm[n]) else 0.0
        here = load[n] if np.isfinite(load[n]) else None
        wanted = target.lambda_target(entry, here, speed)
        out[n] = watch.step(
            1000 // LOOKS_HZ,
            round(speed),
            None if here is None else round(10 * here),
            None if wanted is None else round(1000 * wanted),
            0 if throttle is None else -1 if throttle[n] < 12 else int(throttle[n] >= judging.LOADED_PCT),
            values,
            rails,
            None if in_kpa or manifold is None or not np.isfinite(manifold[n]) else round(10 * manifold[n]),
        )
    return rows["time_s"].to_numpy(), out


def _rising(xs: list[float], ys: list[float]) -> tuple[list[float], list[float]]:
    pairs = sorted(zip(xs, ys, strict=True))
    return [x for x, _ in pairs], [y for _, y in pairs]


def intervals(time_s: np.ndarray, on: np.ndarray) -> list[tuple[float, float]]:
    """[(from, to)] of the stretches where `on` holds."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], on.astype(np.int8), [0]]))).reshape(-1, 2)
    return [(float(time_s[a]), float(time_s[min(b, len(time_s) - 1)])) for a, b in edges]
