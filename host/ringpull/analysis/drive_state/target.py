"""The target lambda, row by row: the shared definition of targets, evaluated for whole columns."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from ringpull.analysis.drive_state import usual_targets
from ringpull.analysis.drive_state.columns import Columns
from ringpull.analysis.drive_state.usual_targets import Usual
from ringpull.files.configuration import Target, holding


@dataclass(frozen=True)
class Source:
    """The source of a target: the configuration (chosen by `channels`), or a usual target."""

    channels: tuple[str, ...] = ()
    usual: Usual | None = None


def _bilinear(xs: np.ndarray, ys: np.ndarray, grid: np.ndarray, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """grid[i, j] at (xs[i], ys[j]) interpolated at (x, y), constant beyond the ends; NaN where x or y is NaN."""

    def place(axis: np.ndarray, at: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        if len(axis) == 1:
            return np.zeros(len(at), int), np.where(np.isfinite(at), 0.0, np.nan)
        held = np.clip(at, axis[0], axis[-1])
        low = np.clip(np.searchsorted(axis, np.nan_to_num(held), side="right") - 1, 0, len(axis) - 2)
        return low, (held - axis[low]) / (axis[low + 1] - axis[low])

    i, s = place(xs, x)
    j, t = place(ys, y)
    i1, j1 = np.minimum(i + 1, len(xs) - 1), np.minimum(j + 1, len(ys) - 1)
    return (grid[i, j] * (1 - s) + grid[i1, j] * s) * (1 - t) + (grid[i, j1] * (1 - s) + grid[i1, j1] * s) * t


def _classes(columns: Columns, name: str, entries: Sequence[Target], rows: slice) -> tuple[list, np.ndarray]:
    """(a sample value of each class, class of each row) of a channel that targets depend on.

    Conditions do not change within a class. The classes are the limits in the conditions, the spans between them, the
    names of the channel's states, and None where its value isn't known.
    """
    limits: set[float] = set()
    for entry in entries:
        if entry.when is not None and entry.when.channel == name:
            limits.update(float(v) for v in entry.when.limits)
    edges = np.array(sorted(limits))
    value = columns.named.get(name, np.full(len(columns), np.nan))[rows]
    at = np.searchsorted(edges, value, side="left") + np.searchsorted(edges, value, side="right")
    values: list = []
    for k in range(2 * len(edges) + 1):
        if k % 2:
            values.append(float(edges[k // 2]))
        else:
            low = edges[k // 2 - 1] if k else (edges[0] - 2.0 if len(edges) else 0.0)
            high = edges[k // 2] if k // 2 < len(edges) else low + 2.0
            values.append(float(0.5 * (low + high)))
    at = np.where(np.isfinite(value), at, len(values))
    values.append(None)
    for (channel, state), flags in columns.states.items():
        if channel == name:
            at = np.where(flags[rows], len(values), at)
            values.append(state)
    return values, at.astype(int)


def of_one_number(columns: Columns) -> bool:
    """Whether the target does not depend on load."""
    if not columns.config.targets:
        return columns.map_kpa is None
    return all(entry.load is None for entry in columns.config.targets)


def targets(columns: Columns, rows: slice = slice(None)) -> tuple[np.ndarray, Source]:
    """(lambda target (rows,), its source). NaN where it is not known, for instance without a load.

    Of several targets the shared function chooses one for each class of the channels that they depend on.
    """
    if not columns.config.targets:
        value, usual = usual_targets.preset(columns, columns.config.preset)
        return value[rows], Source(usual=usual)
    out = np.full(len(columns.rpm[rows]), np.nan)
    for entry, here in chosen(columns, rows):
        out[here] = _surface(columns, entry, rows)[here]
    return out, Source(asked_of(columns.config.targets))


def asked_of(entries: Sequence[Target]) -> tuple[str, ...]:
    """The channels by which one of several targets is chosen."""
    return tuple(sorted({entry.when.channel for entry in entries if entry.when is not None}))


def chosen(columns: Columns, rows: slice = slice(None)) -> Iterator[tuple[Target, np.ndarray]]:
    """(a configured target, flags (rows,) of where it holds), in pieces."""
    entries = columns.config.targets
    asked = asked_of(entries)
    length = len(columns.rpm[rows])
    if not asked:
        yield from ((entry, np.ones(length, bool)) for entry in entries[:1])
        return
    classes = [_classes(columns, name, entries, rows) for name in asked]
    which = np.zeros(length, int)
    for _, index in classes:
        which = which * (1 + int(index.max(initial=0))) + index
    for k in np.unique(which):
        here = which == k
        first = int(np.argmax(here))
        entry = holding(
            entries, {name: values[index[first]] for name, (values, index) in zip(asked, classes, strict=True)}
        )
        if entry is not None:
            yield entry, here


def _surface(columns: Columns, entry: Target, rows: slice) -> np.ndarray:
    """One target interpolated over its axes, (rows,). The shared function gives the values at its breakpoints."""
    loads = np.array([float(v) for v in entry.loads or (0.0,)])
    speeds = np.array([float(v) for v in entry.speeds or (0.0,)])
    rpm = columns.rpm[rows]
    axis = columns.load_of(entry.load)
    load = None if axis is None else axis.values
    if load is None or len(loads) == 1:
        # a target of one number needs no load; a table without a logged load gives no target
        load = np.full(len(columns), 0.0 if len(loads) == 1 else np.nan)
    values = [[entry.lambda_at(float(at), float(s)) for s in speeds] for at in loads]
    grid = np.array([[np.nan if v is None else v for v in row] for row in values])
    return _bilinear(loads, speeds, grid, load[rows], rpm if len(speeds) > 1 else np.zeros(len(rpm)))
