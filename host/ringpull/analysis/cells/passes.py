"""Passes: continuous visits to a cell of engine speed and load, the sampling unit of fuel map and comparison.

Samples within a pass are correlated and pulls differ as wholes, so intervals count passes and pulls, never samples.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ringpull.analysis import local
from ringpull.analysis.judge.session import Judged

LEAST_S = 0.08  # a shorter visit is not a pass
TOGETHER_S = 0.5  # a stretch under load continues if load is off for less than this
MERGE_S = 2.0  # outside pulls, visits to a cell less than this apart are one pass


Span = tuple[int, float, float]


@dataclass(frozen=True)
class Axes:
    """Breakpoints of a table, rising. loads None: by engine speed alone."""

    speeds: np.ndarray
    loads: np.ndarray | None = None


@dataclass(frozen=True)
class SessionPulls:
    """A judged session with its pulls except spoiled ones. spans: (number, start_s, end_s) of each."""

    judged: Judged
    spans: Sequence[Span] = ()


@dataclass(frozen=True)
class Pass:
    """One pass.

    speed, load: the cell's indices on the axes. unit: (session, pull) that it belongs to, or None. stretch: (session,
    first row) of its stretch under load outside pulls, or None. value: mean over the pass. seconds: judged time.
    loaded: whether it is mostly under load. moved: mean of its second half minus that of its first. bank: its lambda
    channel, "" if there is only one.
    """

    speed: int
    load: int
    unit: tuple[int, int] | None
    value: float
    seconds: float
    loaded: bool
    moved: float = 0.0
    stretch: tuple[int, int] | None = None
    bank: str = ""


def nearest(axis: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Index of the nearest breakpoint; -1 if the value is unknown or more than half a step beyond the ends."""
    if len(axis) == 1:
        return np.where(np.isfinite(values), 0, -1)
    edges = 0.5 * (axis[1:] + axis[:-1])
    at = np.searchsorted(edges, np.nan_to_num(values))
    low, high = axis[0] - (edges[0] - axis[0]), axis[-1] + (axis[-1] - edges[-1])
    with np.errstate(invalid="ignore"):
        return np.where((values >= low) & (values <= high), at, -1)


def passes(here: SessionPulls, value: np.ndarray, axes: Axes, session: int = 1, bank: str = "") -> list[Pass]:
    """The passes of one session; all visits to a cell in the same pull are one pass.

    value: (rows,), NaN where not judged. session: its number among the sessions. bank: the channel of `value`.
    """
    judged, loads = here.judged, axes.loads
    columns = judged.columns
    period_s = columns.period_s
    speed_at = nearest(axes.speeds, columns.rpm)
    load = columns.load()
    load_at = np.zeros(len(columns), int) if loads is None or load is None else nearest(loads, load.values)
    pull = np.zeros(len(columns), int)
    for number, start_s, end_s in here.spans:
        pull[columns.rows(start_s, end_s)] = number
    good = np.isfinite(value) & (speed_at >= 0) & (load_at >= 0)
    cell = speed_at * 1000 + load_at
    rows = np.flatnonzero(good)
    if len(rows) == 0:
        return []
    # group: cell and pull inside pulls; outside pulls, cell and visits no further apart than MERGE_S
    group = np.zeros(len(rows), np.int64)
    inside = pull[rows] > 0
    group[inside] = pull[rows][inside]
    outside = np.flatnonzero(~inside)
    order = outside[np.argsort(cell[rows[outside]], kind="stable")]
    if len(order):
        apart = (np.diff(rows[order]) > MERGE_S / period_s) | (np.diff(cell[rows[order]]) != 0)
        group[order] = -1 - np.concatenate([[0], np.cumsum(apart)])
    lowest = group.min()
    key = cell[rows] * (group.max() - lowest + 1) + (group - lowest)  # by cell, then by group
    _, first, which = np.unique(key, return_index=True, return_inverse=True)
    count = np.bincount(which)
    mean = np.bincount(which, value[rows]) / count
    moved = halves(which, value[rows], count)
    loaded = np.bincount(which, judged.loaded[rows].astype(float)) / count > 0.5
    starts = np.zeros(len(columns), np.int64)
    for begin, end in local.spans(local.close_gaps(judged.loaded, round(TOGETHER_S / period_s))):
        starts[begin:end] = begin
    out = []
    for k in np.flatnonzero(count * period_s >= LEAST_S - 1e-9):
        row = rows[first[k]]
        unit = (session, int(pull[row])) if pull[row] > 0 else None
        place = (int(speed_at[row]), int(load_at[row]))
        seconds = float(count[k] * period_s)
        stretch = (session, int(starts[row])) if loaded[k] and unit is None else None
        out.append(Pass(*place, unit, float(mean[k]), seconds, bool(loaded[k]), float(moved[k]), stretch, bank))
    return out


def by_bank(found: Sequence[Pass]) -> dict[str, list[Pass]]:
    """The passes of each bank, in order of appearance."""
    out: dict[str, list[Pass]] = {}
    for one in found:
        out.setdefault(one.bank, []).append(one)
    return out


def units_of(found: Sequence[Pass]) -> np.ndarray:
    """For each pass the number of the unit that differs as a whole: pull, else stretch under load, else the pass."""
    names: dict[object, int] = {}
    return np.array([names.setdefault(p.unit or ("load", p.stretch or at), len(names)) for at, p in enumerate(found)])


def halves(which: np.ndarray, value: np.ndarray, count: np.ndarray) -> np.ndarray:
    """Mean of each group's later half minus that of its earlier half. which: group of each value, in order of time."""
    order = np.argsort(which, kind="stable")
    rank = np.empty(len(which), np.int64)
    rank[order] = np.arange(len(which)) - np.repeat(np.cumsum(count) - count, count)
    late = rank * 2 >= count[which]
    late_count = np.bincount(which, late)
    late_sum = np.bincount(which, np.where(late, value, 0.0))
    early_sum, early_count = np.bincount(which, value) - late_sum, count - late_count
    return late_sum / np.maximum(late_count, 1) - early_sum / np.maximum(early_count, 1)


def round_axis(values: np.ndarray, step: float, most: int) -> np.ndarray:
    """Even breakpoints over the values' range. The step is doubled until there are at most `most` of them."""
    values = values[np.isfinite(values)]
    if len(values) == 0:
        return np.array([0.0])
    low, high = np.percentile(values, (0.5, 99.5))
    while (high - low) / step > most:
        step *= 2.0
    return np.arange(np.floor(low / step + 0.5), np.floor(high / step + 0.5) + 1) * step


def found_axes(judged: Sequence[Judged]) -> Axes:
    """Axes that fit the drives: steps of 500 rpm and 20 kPa (or per cent), doubled if need be."""
    good = [j.masks.valid for j in judged]
    rpm = np.concatenate([j.columns.rpm[g] for j, g in zip(judged, good, strict=True)])
    axes = [j.columns.load() for j in judged]
    if any(a is None for a in axes):
        return Axes(round_axis(rpm, 500.0, 20))
    load = np.concatenate([a.values[g] for a, g in zip(axes, good, strict=True) if a is not None])
    return Axes(round_axis(rpm, 500.0, 20), round_axis(load, 20.0, 16))
