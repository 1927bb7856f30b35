"""Measured over target by speed and load, with intervals from passes, and a factor for the fuel table."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ringpull.analysis.cells import given_axes, pooling
from ringpull.analysis.cells.passes import Pass, found_axes, passes, units_of
from ringpull.analysis.drive_state import under_load
from ringpull.analysis.judge import needs
from ringpull.analysis.judge.session import Judged

LEAST_PASSES = 3
TRIMS = ("trim", "trim_long")
MOST_STEP = 0.05  # of one correction; measure again before the next
# A visit at part load counts where it is steady: a shorter crossing is a transient, in which film and delay speak and not
# the table, and where lambda moves in a cell that does not, something else moves it (a trim, a test). Common practice,
# no source.
STEADY_S, STEADY_LAMBDA = 0.3, 0.02
ASSUMED = "no target is configured, and the one assumed is no reason to make anything leaner under load"
NO_LOAD = "no fuel map: neither manifold pressure nor another load is logged, and a table has cells of speed and load"
NOT_VISITED = "no fuel map: no cell was visited by anything that could be judged"
GUARDED = "from {:.0f} kPa on a cell is never made leaner than target, at part throttle either"
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
        """One of the cells' numbers as a table (loads, speeds), NaN where nothing is known.

        Of a place that was visited both under load and at part load the judged cell counts, of two the one under load;
        there the factor of part load is never below 1.
        """
        out = np.full((1 if self.loads is None else len(self.loads), len(self.speeds)), np.nan)
        under_load = {(c.load, c.rpm) for c in self.cells if c.loaded}
        for cell in sorted(self.cells, key=lambda c: (c.state == "judged", c.loaded)):
            row = 0 if self.loads is None else int(np.argmin(np.abs(self.loads - cell.load)))
            value = getattr(cell, name)
            if name == "factor" and not cell.loaded and (cell.load, cell.rpm) in under_load:
                value = max(1.0, value) if np.isfinite(value) else value
            out[row, int(np.argmin(np.abs(self.speeds - cell.rpm)))] = value
        return out


def ratio(judged: Judged, bank: str | None = None) -> np.ndarray:
    """Measured over target, row by row, with logged trims folded in; NaN where a mask takes the row out. bank: of several;
    without one the leaner, row by row."""
    lambda_ = judged.lambda_aligned if bank is None else judged.each_bank[bank]
    value = np.where(judged.masks.valid, lambda_ / judged.target, np.nan)
    for role in TRIMS:
        trim = judged.columns.extra.get(role)
        value = value if trim is None else value * (1.0 + np.nan_to_num(trim) / 100.0)
    return value


def steady(one: Pass) -> bool:
    """Whether a pass tells of the table: all under load, and steady ones at part load."""
    return one.loaded or (one.seconds >= STEADY_S and abs(one.moved) <= STEADY_LAMBDA)


def suggested(ratio: float, high: float, error: float, spread: float, loaded: bool, shift: float) -> float:
    """Factor for the fuel: the ratio shrunk toward 1 by its certainty, capped at MOST_STEP.

    Under load fuel is only taken away as far as the interval, systematic part included, is certain to be rich: never
    leaner than target. shift: half-width of the systematic part; infinite where the target itself is only assumed.
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
    known = [at for at, one in enumerate(judged) if one.columns.load() is not None]
    if not known:
        return FuelMap(np.zeros(0), None, [], [NO_LOAD])
    units = [one.columns.load_unit for one in judged]
    rows_of = {units[at]: sum(len(judged[k].columns) for k in known if units[k] == units[at]) for at in known}
    unit = max(rows_of, key=lambda one: rows_of[one])
    others = [at for at in known if units[at] != unit]
    known = [at for at in known if units[at] == unit]
    judged, spans = [judged[at] for at in known], [spans[at] for at in known]
    unmet = needs.everywhere([one.columns for one in judged], "fuel map")
    if unmet:
        return FuelMap(np.zeros(0), None, [], [f"no fuel map: {needs.lacking(unmet)}"])
    unfit = []
    if speeds is None:
        speeds, loads = found_axes(judged)
    else:
        unfit = given_axes.remarks(judged, speeds, loads)
    every: dict[str, list[Pass]] = {}
    for session, (one, pulls) in enumerate(zip(judged, spans, strict=True)):
        for bank in one.each_bank:
            found = passes(one, ratio(one, bank), speeds, loads, pulls, session)
            every.setdefault(bank, []).extend(p for p in found if steady(p))
    shift = 1.96 * max((j.budget.systematic / j.budget.at_lambda for j in judged), default=0.0)
    cells: list[Cell] = []
    words = [
        "a pass is one continuous visit to a cell; visits in one pull are one pass",
        f"at part load a pass lasts at least {STEADY_S:.1f} s, lambda of its halves within {STEADY_LAMBDA:.2f}",
        f"under {LEAST_PASSES} passes there is no interval and no factor; a step is at most {MOST_STEP:.0%}",
    ]
    if others:
        words.append(f"left out: {len(others)} of the drive's sessions, whose load is not in {unit}")
    words.append(f"a systematic error of up to {shift:.3f} would shift every ratio alike")
    assumed = any(not j.columns.config.get("target") for j in judged)
    if assumed:
        words.append(ASSUMED)
    if any(role in j.columns.extra for j in judged for role in TRIMS):
        words.append("logged trims are folded into the ratio")
    else:
        words.append("no trims logged: a correction that the engine computer makes by itself stays hidden")
    if len(every) > 1:
        words.append("two banks: each cell is the leaner bank's")
    guarded = full_manifold(judged)
    if loads is not None and loads.max(initial=0.0) >= guarded:
        words.append(GUARDED.format(guarded))
    words = [*unfit, *words] if any(every.values()) else [NOT_VISITED, *unfit]
    for loaded in (True, False):
        of_banks = [
            cells_of([p for p in some if p.loaded == loaded], speeds, loads, loaded, shift, assumed, guarded)
            for some in every.values()
        ]
        cells += leaner_cells(of_banks)
    cells.sort(key=lambda c: (c.load if c.load is not None else 0.0, c.rpm))
    return FuelMap(speeds, loads, cells, words)


def full_manifold(judged: Sequence[Judged]) -> float:
    """The pressure from which on an engine is under load whatever its throttle says; infinite where the table's load is
    no pressure."""
    axes = [one.columns.load() for one in judged]
    if any(axis is None or not axis.manifold for axis in axes):
        return np.inf
    # a drive that never was under load does not show how full the manifold gets
    return min(under_load.full_kpa(one.columns) if one.loaded.any() else under_load.MAP_HIGH_KPA for one in judged)


def leaner_cells(of_banks: list[list[Cell]]) -> list[Cell]:
    """Of each place the cell of the bank whose mean is leaner; a judged one before one that isn't."""
    out: dict[tuple[float | None, float], Cell] = {}
    for cell in (cell for cells in of_banks for cell in cells):
        key = cell.load, cell.rpm
        if key not in out or (cell.state == "judged", cell.ratio) > (out[key].state == "judged", out[key].ratio):
            out[key] = cell
    return list(out.values())


def cells_of(
    found: list[Pass],
    speeds: np.ndarray,
    loads: np.ndarray | None,
    loaded: bool,
    shift: float,
    assumed: bool = False,
    guarded: float = np.inf,
) -> list[Cell]:
    """The cells of passes under load, or of the others: their variances are pooled apart. assumed: so is the target.
    guarded: the load from which on cells are treated as under load in what is suggested for them."""
    if not found:
        return []
    keys = sorted({(p.load, p.speed) for p in found})
    number = {key: at for at, key in enumerate(keys)}
    cell = np.array([number[p.load, p.speed] for p in found])
    unit = units_of(found)
    value = np.array([p.value for p in found])
    pooled = pooling.pool(cell, unit, value)
    rows = [value[cell == at] for at in range(len(keys))]
    # visits in one pull are one pass: fewer say nothing about how pulls differ
    intervals = [pooling.interval(v, pooled) if len(v) >= LEAST_PASSES else None for v in rows]
    known = [(i[0], i[2]) for i in intervals if i is not None]
    spread = LEAST_SPREAD
    if len(known) > 2:
        extra = np.mean([(m - 1.0) ** 2 - e**2 for m, e in known])
        spread = max(spread, float(np.sqrt(max(extra, 0.0))))
    out = []
    for at, (row, speed) in enumerate(keys):
        here, mean = intervals[at], float(np.mean(rows[at]))
        careful = loaded or (loads is not None and loads[row] >= guarded)
        low = high = factor = float("nan")
        if here is not None:
            low, high = mean - here[1], mean + here[1]
            factor = suggested(mean, high, here[2], spread, careful, np.inf if assumed else shift)
        out.append(
            Cell(
                rpm=float(speeds[speed]),
                load=None if loads is None else float(loads[row]),
                passes=len(rows[at]),
                seconds=round(sum(p.seconds for p in found if (p.load, p.speed) == (row, speed)), 3),
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
