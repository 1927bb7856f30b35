"""Measured over target by speed and load, with intervals from passes, and a factor for the fuel table."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ringpull.analysis import pooling
from ringpull.analysis.judge import Judged
from ringpull.analysis.passes import Pass, found_axes, passes

LEAST_PASSES = 3
MOST_STEP = 0.05  # of one correction; measure again before the next
# A visit at part load counts where it is steady: a shorter crossing is a transient, in which film and delay speak and not
# the table, and where lambda moves in a cell that does not, something else moves it (a trim, a test). Common practice,
# no source.
STEADY_S, STEADY_LAMBDA = 0.3, 0.02
NO_LOAD = "no fuel map: neither manifold pressure nor another load is logged, and a table has cells of speed and load"
LEAST_SPREAD = 0.004  # of the table's own error, standard deviation: what shrinkage always allows for


@dataclass(frozen=True)
class Cell:
    """One cell. ratio: measured lambda over target (above 1: lean). low, high: its 95 % interval from passes, NaN
    where there are too few. factor: suggested for the fuel table at this cell, NaN for none. state: "judged" or "not
    enough data". systematic: half-width of what shifts every ratio alike."""

    rpm: float
    load: float | None
    passes: int
    seconds: float
    loaded: bool
    ratio: float
    low: float
    high: float
    factor: float
    systematic: float
    state: str


@dataclass(frozen=True)
class FuelMap:
    """cells: only those visited. speeds, loads: the axes (loads None: by speed alone). words: what was assumed."""

    speeds: np.ndarray
    loads: np.ndarray | None
    cells: list[Cell]
    words: list[str]

    def grid(self, name: str) -> np.ndarray:
        """One of the cells' numbers as a table (loads, speeds), NaN where nothing is known."""
        out = np.full((1 if self.loads is None else len(self.loads), len(self.speeds)), np.nan)
        for cell in self.cells:
            row = 0 if self.loads is None else int(np.argmin(np.abs(self.loads - cell.load)))
            out[row, int(np.argmin(np.abs(self.speeds - cell.rpm)))] = getattr(cell, name)
        return out


def ratio(judged: Judged) -> np.ndarray:
    """Measured over target, row by row, with a logged trim folded in; NaN where a mask takes the row out."""
    value = np.where(judged.masks.valid, judged.lambda_aligned / judged.target, np.nan)
    trim = judged.columns.extra.get("trim")
    return value if trim is None else value * (1.0 + np.nan_to_num(trim) / 100.0)


def steady(one: Pass) -> bool:
    """Whether a pass tells of the table: all under load, and steady ones at part load."""
    return one.loaded or (one.seconds >= STEADY_S and abs(one.moved) <= STEADY_LAMBDA)


def suggested(ratio: float, low: float, high: float, error: float, spread: float, loaded: bool, shift: float) -> float:
    """Factor for the fuel: the ratio shrunk toward 1 by its certainty, capped at MOST_STEP.

    Under load fuel is only taken away as far as the interval, systematic part included, is certain to be rich: never
    leaner than target.
    """
    wanted = 1.0 + (ratio - 1.0) * spread**2 / (spread**2 + error**2)
    if wanted < 1.0 and loaded:
        wanted = min(1.0, max(wanted, high + shift))
    return float(np.clip(wanted, 1.0 - MOST_STEP, 1.0 + MOST_STEP))


def fuelmap(
    judged: Sequence[Judged],
    spans: Sequence[Sequence[tuple[int, float, float]]],
    speeds: np.ndarray | None = None,
    loads: np.ndarray | None = None,
) -> FuelMap:
    """The map of one or more sessions of the same engine and table.

    spans: for each session its pulls as (number, start_s, end_s), spoiled ones left out. speeds, loads: breakpoints of
    the table; found from the data unless given.
    """
    if any(j.columns.load() is None for j in judged):
        return FuelMap(np.zeros(0), None, [], [NO_LOAD])
    if speeds is None:
        speeds, loads = found_axes(judged)
    every: list[Pass] = []
    for session, (one, pulls) in enumerate(zip(judged, spans, strict=True)):
        every += [p for p in passes(one, ratio(one), speeds, loads, pulls, session) if steady(p)]
    shift = 1.96 * max((j.budget.systematic for j in judged), default=0.0) / 0.85
    cells: list[Cell] = []
    words = [
        "a pass is one continuous visit to a cell; visits in one pull are one pass",
        f"at part load a pass lasts at least {STEADY_S:.1f} s, lambda of its halves within {STEADY_LAMBDA:.2f}",
        f"under {LEAST_PASSES} passes there is no interval and no factor; a step is at most {MOST_STEP:.0%}",
    ]
    if any("trim" in j.columns.extra for j in judged):
        words.append("logged trims are folded into the ratio")
    else:
        words.append("no trims logged: a correction that the engine computer makes by itself stays hidden")
    for loaded in (True, False):
        cells += cells_of([p for p in every if p.loaded == loaded], speeds, loads, loaded, shift)
    cells.sort(key=lambda c: (c.load if c.load is not None else 0.0, c.rpm))
    return FuelMap(speeds, loads, cells, words)


def cells_of(found: list[Pass], speeds: np.ndarray, loads: np.ndarray | None, loaded: bool, shift: float) -> list[Cell]:
    """The cells of passes under load, or of the others: their variances are pooled apart."""
    if not found:
        return []
    keys = sorted({(p.load, p.speed) for p in found})
    number = {key: at for at, key in enumerate(keys)}
    cell = np.array([number[p.load, p.speed] for p in found])
    names: dict[object, int] = {}
    unit = np.array([names.setdefault(p.unit if p.unit else ("visit", at), len(names)) for at, p in enumerate(found)])
    value = np.array([p.value for p in found])
    pooled = pooling.pool(cell, unit, value)
    rows = [value[cell == at] for at in range(len(keys))]
    # what comes from one pull alone, or from too few passes, says nothing about how pulls differ
    several = [len(set(unit[cell == at])) >= LEAST_PASSES for at in range(len(keys))]
    intervals = [pooling.interval(v, pooled) if good else None for v, good in zip(rows, several, strict=True)]
    known = [(i[0], i[2]) for i in intervals if i is not None]
    spread = LEAST_SPREAD
    if len(known) > 2:
        extra = np.mean([(m - 1.0) ** 2 - e**2 for m, e in known])
        spread = max(spread, float(np.sqrt(max(extra, 0.0))))
    out = []
    for at, (load, speed) in enumerate(keys):
        here, mean = intervals[at], float(np.mean(rows[at]))
        low = high = factor = float("nan")
        if here is not None:
            low, high = mean - here[1], mean + here[1]
            factor = suggested(mean, low, high, here[2], spread, loaded, shift)
        out.append(
            Cell(
                rpm=float(speeds[speed]),
                load=None if loads is None else float(loads[load]),
                passes=len(rows[at]),
                seconds=round(sum(p.seconds for p in found if (p.load, p.speed) == (load, speed)), 3),
                loaded=loaded,
                ratio=mean,
                low=low,
                high=high,
                factor=factor,
                systematic=shift,
                state="not enough data" if here is None else "judged",
            )
        )
    return out
