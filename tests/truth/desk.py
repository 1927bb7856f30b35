"""Running the command as a user would, and lining up decoded rows with the signals' own time."""

from __future__ import annotations

import io
import subprocess
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path

import numpy as np
import pandas as pd

from ringpull.cli import main
from truth.profile import Profile
from truth.signals import Signals, cycle_s


def command(*words: object) -> subprocess.CompletedProcess[str]:
    """`ringpull WORDS...` in this process: one of its own would load all libraries anew, half a second each time."""
    out, err = io.StringIO(), io.StringIO()
    with redirect_stdout(out), redirect_stderr(err):
        try:
            code = main.main([str(word) for word in words])
        except SystemExit as stop:
            code = int(stop.code or 0)
    return subprocess.CompletedProcess(words, code, out.getvalue(), err.getvalue())


def dry_run(signals: Signals, folder: Path) -> Path:
    """Write the signal files into `folder`, run the firmware on them; returns the card folder."""
    signals.write(folder)
    words = ["dryrun", "--config", folder / "logger.json", "--volts", folder / "volts.csv"]
    words += ["--edges", folder / "edges.csv", "--buttons", folder / "buttons.csv", "-o", folder / "card", "--replace"]
    done = command(*words)
    assert done.returncode == 0, done.stdout + done.stderr
    return folder / "card"


def power_on_s(raw: pd.DataFrame, signals: Signals, period_s: float) -> float:
    """When, in the signals' time, row 0 was: from the stored age of edges, which is exact to a microsecond."""
    width = (1 << 20) - 1
    row = raw[(raw["engine_speed"] > 0) & (raw["engine_speed.age"] < width)].iloc[0]
    count, age_s = int(row["engine_speed"]), float(row["engine_speed.age"]) / 1e6
    edge_s = row["row"] * period_s - age_s
    # Power comes on at 0 and the first row follows within 0.1 s, so only a few edges can precede it
    guesses = signals.kept_edges_s[max(count - 1, 0) : count + 60] - edge_s
    fitting = guesses[(guesses > -1e-5) & (guesses <= 0.1)]
    assert fitting.size, "no edge puts the first row within 0.1 s after power-on"
    after = raw[raw["row"] > row["row"] + 50].iloc[::37]
    edges = after["row"].to_numpy() * period_s - after["engine_speed.age"].to_numpy() / 1e6
    known = after["engine_speed.age"].to_numpy() < width

    def misfit(offset: float) -> float:
        return float(np.abs(nearest(signals.kept_edges_s, edges[known] + offset)).sum())

    # At a perfectly steady speed every edge fits alike: then the earliest
    misfits = np.array([misfit(offset) for offset in fitting])
    return float(fitting[np.flatnonzero(misfits < misfits.min() + 1e-6 * edges.size)[0]])


def nearest(sorted_s: np.ndarray, t_s: np.ndarray) -> np.ndarray:
    """Signed distance from each time to the nearest of the sorted times."""
    at = np.clip(np.searchsorted(sorted_s, t_s), 1, len(sorted_s) - 1)
    left, right = t_s - sorted_s[at - 1], t_s - sorted_s[at]
    return np.where(np.abs(left) < np.abs(right), left, right)


def speed_error(frame: pd.DataFrame, zero_s: float, signals: Signals, period_s: float) -> tuple[np.ndarray, np.ndarray]:
    """(relative error, slope of the truth in rpm/s) of every row away from corners, first and last engine cycle.

    Away is a cycle and two edges of the slowest speed near the row. Where a row holds several edges it is six rows:
    beside a step in speed, which no engine makes, a missing edge cannot be told from one.
    """
    t_s = frame["time_s"].to_numpy() + zero_s
    truth, edges = signals.speed_rpm, signals.kept_edges_s
    slowest = np.minimum.reduce([truth(t_s + by) for by in (-0.4, -0.2, 0.0, 0.2, 0.4)])
    margin = cycle_s(np.maximum(slowest, 1.0)) * (1 + 1 / signals.tach.per_rev)
    margin = np.maximum(
        margin + 2 * period_s, np.where(truth(t_s) / 60 * signals.tach.per_rev * period_s > 2, 6 * period_s, 0)
    )
    inside = truth.far_from_kinks(t_s, margin) & (t_s > edges[0] + margin) & (t_s < edges[-1] - margin)
    if signals.tach.silent_s:
        low, high = signals.tach.silent_s
        inside &= (t_s < low - 2 * margin) | (t_s > high + 2 * margin)
    value = frame["engine_speed_rpm"].to_numpy()[inside]
    slope = (truth(t_s[inside] + 1e-4) - truth(t_s[inside] - 1e-4)) / 2e-4
    return value / truth(t_s[inside]) - 1, slope


def assert_within(error: np.ndarray, limit: float, what: str) -> None:
    """99 rows of 100 within the limit, none missing and none more than three times over."""
    assert error.size, f"{what}: no rows to judge"
    assert np.isfinite(error).all(), f"{what}: {np.isnan(error).sum()} of {error.size} rows have no value"
    size = np.abs(error)
    told = f"{what}: 99th percentile {np.percentile(size, 99):.6f}, most {size.max():.6f}, limit {limit}"
    assert np.percentile(size, 99) <= limit and size.max() <= 3 * limit, told


def steady(truth: Profile, t_s: np.ndarray, margin_s: float) -> np.ndarray:
    """True where the truth holds still and has done so for the margin."""
    return truth.far_from_kinks(t_s, margin_s) & (truth(t_s + 1e-4) == truth(t_s - 1e-4))
