"""The fuel map: lambda over target by engine speed and load, with intervals from passes and factors for the table.

`of_drive` makes the map of a drive that page, print, picture and command all show.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import Enum, auto

import numpy as np

from ringpull.analysis.cells import given_axes, sets, settling
from ringpull.analysis.cells.cell import (
    JUDGED,
    NEVER_VISITED,
    NOT_MAPPED,
    TOO_FEW,
    Cell,
    Treatment,
    cells_of,
    empty,
    leaner_cells,
)
from ringpull.analysis.cells.given_axes import Misfit
from ringpull.analysis.cells.passes import Axes, Pass, SessionPulls, found_axes, passes
from ringpull.analysis.cells.ratio import TRIMS, ratio
from ringpull.analysis.drive_state import under_load
from ringpull.analysis.instruments.trust import Instrument
from ringpull.analysis.judge import needs
from ringpull.analysis.judge.holes import Hole, TableCell
from ringpull.analysis.judge.session import Judged
from shared_math import judging

# A visit at part load counts if it is steady. A shorter crossing is a transient, which shows wall film and delay, not
# the table; and if lambda moves within a cell, something other than the table moves it (a trim, a test). Common
# practice, no source.
STEADY_S, STEADY_LAMBDA = 0.3, 0.02
RANK = (NEVER_VISITED, NOT_MAPPED, TOO_FEW, JUDGED)


class NoMap(Enum):
    """Why there is no map."""

    NO_LOAD = auto()  # neither manifold pressure nor another load is logged
    UNMET = auto()  # a channel is lacking
    NOT_VISITED = auto()  # nothing that could be judged lies in any cell


@dataclass(frozen=True)
class Grounds:
    """What a map rests on. systematic: share of target by which an error may shift all ratios alike (95 %). assumed:
    whether the target is. trims: whether they are logged. banks: their number. others: sessions left out because their
    load has another unit. contradicted: instruments that the drive contradicts; no fuel is reduced by them.
    full_manifold_kpa: from there on the table makes nothing leaner; NaN if it does not reach there. misfit: of a given
    table. target_ends: (last point, unit) of axes of the target that the drive leaves under load; no fuel is reduced
    then either."""

    systematic: float = 0.0
    assumed: bool = False
    trims: bool = False
    banks: int = 1
    others: int = 0
    contradicted: tuple[Instrument, ...] = ()
    full_manifold_kpa: float = float("nan")
    misfit: Misfit | None = None
    target_ends: tuple[tuple[float, str], ...] = ()


@dataclass(frozen=True)
class FuelMap:
    """cells: the visited cells, separately under load and at part load, and those not mapped. missing: why there are
    none, with the roles of channels that were lacking."""

    axes: Axes
    cells: tuple[Cell, ...] = ()
    load_unit: str = ""
    grounds: Grounds = Grounds()
    missing: NoMap | None = None
    lacking: tuple[str, ...] = ()

    @property
    def places(self) -> dict[tuple[float | None, float], Cell]:
        """(load, rpm) -> the cell that counts at each place: a judged cell rather than an unjudged one, and of two
        judged cells the one under load."""
        order = sorted(self.cells, key=lambda c: (RANK.index(c.state), c.loaded))
        return {cell.place: cell for cell in order}

    def in_hole(self, hole: Hole) -> TableCell | None:
        """The leanest cell under load within a lean place, preferably a judged one; None if the map has none there."""
        half = float(np.diff(self.axes.speeds).max()) / 2.0 if len(self.axes.speeds) > 1 else 0.0
        near = [c for c in self.cells if hole.rpm_from - half <= c.rpm <= hole.rpm_to + half]
        flagged = [c for c in near if c.lean_event and c.state in (JUDGED, TOO_FEW)]
        if not flagged:
            return None
        cell = max(flagged, key=lambda c: (c.state == JUDGED, c.loaded, c.ratio))
        return TableCell(cell.rpm, cell.load, self.load_unit, cell.ratio, cell.factor, cell.passes)

    @property
    def every_cell(self) -> list[Cell]:
        """All cells, with one for each place that was never visited, by load and speed."""
        there = {cell.place for cell in self.cells}
        loads = [None] if self.axes.loads is None else [float(v) for v in self.axes.loads]
        places = [(load, float(rpm)) for load in loads for rpm in self.axes.speeds]
        cells = [*self.cells, *(empty(rpm, load, NEVER_VISITED) for load, rpm in places if (load, rpm) not in there)]
        return sorted(cells, key=lambda c: (c.load or 0.0, c.rpm, c.loaded))

    def grid(self, name: str) -> np.ndarray:
        """One figure of the cells in `places` as a table (loads, speeds), NaN where it is not known."""
        loads, speeds, places = self.axes.loads, self.axes.speeds, self.places
        rows = [None] if loads is None else [float(v) for v in loads]
        values = [[places.get((load, float(rpm))) for rpm in speeds] for load in rows]
        return np.array([[np.nan if c is None else getattr(c, name) for c in row] for row in values], dtype=float)


def of_drive(drive, axes: Axes | None = None) -> FuelMap:
    """The map of a drive, from its pulls and steady holds. axes: of the table; from the data unless given."""
    return fuelmap(sets.every_session(drive), axes)


def steady(one: Pass) -> bool:
    """Whether a pass shows the table: any pass under load, at part load only a steady one."""
    return one.loaded or (one.seconds >= STEADY_S and abs(one.moved) <= STEADY_LAMBDA)


def fuelmap(sessions: Sequence[SessionPulls], axes: Axes | None = None) -> FuelMap:
    """The map of sessions of the same engine and table. axes: of the table; from the data unless given."""
    none = Axes(np.zeros(0))
    kept, others = of_one_load(sessions)
    if not kept:
        return FuelMap(none, missing=NoMap.NO_LOAD)
    judged = [one.judged for one in kept]
    unmet = needs.everywhere([one.columns for one in judged], needs.FUEL_MAP)
    if unmet:
        return FuelMap(none, missing=NoMap.UNMET, lacking=tuple(unmet))
    unfit = None if axes is None else given_axes.misfit(judged, axes)
    axes = found_axes(judged) if axes is None else axes
    every = {bank: passes_of(kept, bank, axes) for bank in dict.fromkeys(b for one in judged for b in one.each_bank)}
    shift = 1.96 * max((j.budget.systematic / j.budget.at_lambda for j in judged), default=0.0)
    assumed = any(not j.columns.config.with_target for j in judged)
    cells: list[Cell] = []
    for loaded in (True, False):
        treatment = Treatment(loaded, shift, assumed, full_manifold(judged))
        of_banks = [cells_of([p for p in some if p.loaded == loaded], axes, treatment) for some in every.values()]
        cells += leaner_cells(of_banks)
    if not cells:
        return FuelMap(axes, grounds=Grounds(misfit=unfit), missing=NoMap.NOT_VISITED)
    cells = marked(cells, kept, axes)
    doubted = tuple(one for j in judged for one in j.doubted)
    ends = {(end.last, end.unit) for j in judged for end in j.target_ends if np.isfinite(end.values[j.loaded]).any()}
    if doubted or ends:
        cells = [replace(c, factor=max(1.0, c.factor)) if np.isfinite(c.factor) else c for c in cells]
    cells.sort(key=lambda c: (c.load if c.load is not None else 0.0, c.rpm))
    guarded = guarded_from(judged, axes)
    trims = any(role in j.columns.extra for j in judged for role in TRIMS)
    grounds = Grounds(shift, assumed, trims, len(every), others, doubted, guarded, unfit, tuple(sorted(ends)))
    return FuelMap(axes, tuple(cells), judged[0].columns.load_unit, grounds)


def of_one_load(sessions: Sequence[SessionPulls]) -> tuple[list[SessionPulls], int]:
    """(the sessions whose load has the unit of most rows, the number of sessions with another unit)."""
    known = [one for one in sessions if one.judged.columns.load() is not None]
    rows_of: dict[str, int] = {}
    for one in known:
        unit = one.judged.columns.load_unit
        rows_of[unit] = rows_of.get(unit, 0) + len(one.judged.columns)
    unit = max(rows_of, key=lambda one: rows_of[one], default="")
    kept = [one for one in known if one.judged.columns.load_unit == unit]
    return kept, len(known) - len(kept)


def passes_of(sessions: Sequence[SessionPulls], bank: str, axes: Axes) -> list[Pass]:
    """The passes of one bank that show the table."""
    out: list[Pass] = []
    for number, one in enumerate(sessions):
        if bank in one.judged.each_bank:
            value = np.where(settling.settling(one.judged), np.nan, ratio(one.judged, bank))
            out += [p for p in passes(one, value, axes, number) if steady(p)]
    return out


def marked(cells: list[Cell], sessions: Sequence[SessionPulls], axes: Axes) -> list[Cell]:
    """The cells with their lean events, plus the cells that were visited only while the engine settled.

    Fuel is not reduced where a lean event was, nor at part load in a place that was also under load, since the table
    has one value there.
    """

    def place(key: tuple[int, int]) -> tuple[float | None, float]:
        return None if axes.loads is None else float(axes.loads[key[0]]), float(axes.speeds[key[1]])

    lean = {place(key) for key in settling.lean_places(sessions, axes)}
    under = {c.place for c in cells if c.loaded}
    out = []
    for cell in cells:
        kept = cell.place in lean or (not cell.loaded and cell.place in under)
        factor = max(1.0, cell.factor) if kept and np.isfinite(cell.factor) else cell.factor
        out.append(replace(cell, factor=factor, lean_event=cell.place in lean))
    for key, seconds in settling.unsettled_places(sessions, axes).items():
        load, rpm = place(key)
        if (load, rpm) not in under:
            out.append(empty(rpm, load, NOT_MAPPED, round(seconds, 3), (load, rpm) in lean))
    return out


def guarded_from(judged: Sequence[Judged], axes: Axes) -> float:
    """The pressure from which the table makes no cell leaner at any throttle; NaN if it does not reach there."""
    from_kpa = full_manifold(judged)
    return from_kpa if axes.loads is not None and axes.loads.max(initial=0.0) >= from_kpa else float("nan")


def full_manifold(judged: Sequence[Judged]) -> float:
    """The pressure from which an engine is under load at any throttle; infinite if the table's load is no pressure."""
    axes = [one.columns.load() for one in judged]
    if any(axis is None or not axis.manifold for axis in axes):
        return np.inf
    # a drive that was never under load does not show how high manifold pressure gets
    least = [under_load.full_kpa(one.columns, False).min() for one in judged if one.loaded.any()]
    return float(min(least, default=judging.full_kpa(judging.STANDARD_KPA, False)))
