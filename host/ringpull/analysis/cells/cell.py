"""One cell of the fuel map: its interval from passes, and its suggested factor."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ringpull.analysis.cells import pooling
from ringpull.analysis.cells.passes import Axes, Pass, units_of

LEAST_PASSES = 3
MOST_STEP = 0.05  # largest change of fuel in one correction; measure again before the next
LEAST_SPREAD = 0.004  # least standard deviation of the table's own error that shrinkage assumes
JUDGED, TOO_FEW, NOT_MAPPED, NEVER_VISITED = "judged", "not enough data", "not mapped", "never visited"
NAN = float("nan")


@dataclass(frozen=True)
class Cell:
    """One cell.

    ratio: measured lambda over target (above 1 is lean). low, high: its 95 % interval from passes, NaN if too few.
    factor: suggested factor for the fuel table, NaN for none. systematic: half-width of the error that shifts all
    ratios alike. loaded: whether the passes are under load. lean_event: whether a lean event of a pull lies in it.

    state: JUDGED, TOO_FEW, NOT_MAPPED (under load, but only while the charger spools up or the wall film settles), or
    NEVER_VISITED.
    """

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
    lean_event: bool = False

    @property
    def place(self) -> tuple[float | None, float]:
        return self.load, self.rpm


def empty(rpm: float, load: float | None, state: str, seconds: float = 0.0, lean_event: bool = False) -> Cell:
    """A cell in which nothing was measured."""
    return Cell(rpm, load, 0, seconds, False, NAN, NAN, NAN, NAN, NAN, state, lean_event)


@dataclass(frozen=True)
class Treatment:
    """How passes are treated.

    loaded: whether they are under load. shift: half-width of the systematic part of a ratio. assumed: whether the
    target is only assumed. guarded: from this load on, factors are suggested as for cells under load.
    """

    loaded: bool
    shift: float = 0.0
    assumed: bool = False
    guarded: float = np.inf


def suggested(ratio: float, high: float, error: float, spread: float, careful: bool, shift: float) -> float:
    """The factor for the fuel: the ratio shrunk toward 1 according to its uncertainty, limited by MOST_STEP.

    careful: reduce fuel only as far as the interval, with the systematic part, is certainly rich: never leaner than
    target. shift: half-width of the systematic part; infinite if the target is only assumed.
    """
    wanted = 1.0 + (ratio - 1.0) * spread**2 / (spread**2 + error**2)
    if wanted < 1.0 and careful:
        wanted = min(1.0, max(wanted, high + shift))
    return float(np.clip(wanted, 1.0 - MOST_STEP, 1.0 + MOST_STEP))


def cells_of(found: Sequence[Pass], axes: Axes, treatment: Treatment) -> list[Cell]:
    """The cells of the passes under load, or of the others; the variances of the two kinds are pooled separately."""
    if not found:
        return []
    keys = sorted({(p.load, p.speed) for p in found})
    number = {key: at for at, key in enumerate(keys)}
    cell = np.array([number[p.load, p.speed] for p in found])
    value = np.array([p.value for p in found])
    pooled = pooling.pool(cell, units_of(found), value)
    rows = [value[cell == at] for at in range(len(keys))]
    # visits in one pull are one pass, so fewer passes do not show how pulls differ
    intervals = [pooling.interval(v, pooled) if len(v) >= LEAST_PASSES else None for v in rows]
    known = [(i[0], i[2]) for i in intervals if i is not None]
    spread = LEAST_SPREAD
    if len(known) > 2:
        extra = np.mean([(m - 1.0) ** 2 - e**2 for m, e in known])
        spread = max(spread, float(np.sqrt(max(extra, 0.0))))
    shift = np.inf if treatment.assumed else treatment.shift
    out = []
    for at, (row, speed) in enumerate(keys):
        here, mean = intervals[at], float(np.mean(rows[at]))
        careful = treatment.loaded or (axes.loads is not None and axes.loads[row] >= treatment.guarded)
        low = high = factor = NAN
        if here is not None:
            low, high = mean - here[1], mean + here[1]
            factor = suggested(mean, high, here[2], spread, careful, shift)
        out.append(
            Cell(
                rpm=float(axes.speeds[speed]),
                load=None if axes.loads is None else float(axes.loads[row]),
                passes=len(rows[at]),
                seconds=round(sum(p.seconds for p in found if (p.load, p.speed) == (row, speed)), 3),
                loaded=treatment.loaded,
                ratio=mean,
                low=low,
                high=high,
                factor=factor,
                systematic=treatment.shift,
                state=TOO_FEW if here is None else JUDGED,
            )
        )
    return out


def leaner_cells(of_banks: Sequence[list[Cell]]) -> list[Cell]:
    """For each place the cell of the leaner bank; a judged cell is preferred to one that isn't."""
    out: dict[tuple[float | None, float], Cell] = {}
    for one in (one for cells in of_banks for one in cells):
        if one.place not in out or (one.state == JUDGED, one.ratio) > (
            out[one.place].state == JUDGED,
            out[one.place].ratio,
        ):
            out[one.place] = one
    return list(out.values())
