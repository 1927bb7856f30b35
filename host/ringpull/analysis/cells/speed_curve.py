"""Lambda against engine speed: the curve that page, print and picture all draw."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ringpull.analysis.judge.session import Judged

STEP_RPM = 40.0  # width of a line's bins


@dataclass(frozen=True)
class PullCurve:
    """One pull's means by engine speed, (speeds,) each; NaN where nothing was judged. load: NaN without a channel."""

    number: int
    rpm: np.ndarray
    mixture: np.ndarray
    target: np.ndarray
    load: np.ndarray


@dataclass(frozen=True)
class SpeedCurve:
    """lines: one for each judged pull. rpm: all engine speeds. target: its mean over the pulls at each speed. least,
    most: those of all pulls at each speed."""

    lines: tuple[PullCurve, ...]
    rpm: np.ndarray
    target: np.ndarray
    least: np.ndarray
    most: np.ndarray


def of_answer(answer) -> SpeedCurve | None:
    """The curve of an answer's pulls except spoiled ones; None if nothing was judged."""
    pulls = [p for p in answer.pulls if not p.spoiled]
    lines = [pull_curve(p.judged, p.number, p.pull.start_s, p.pull.end_s) for p in pulls]
    return together([line for line in lines if line is not None])


def together(lines: Sequence[PullCurve]) -> SpeedCurve | None:
    """The curve of several pulls on common engine speeds; None without pulls."""
    if not lines:
        return None
    low = min(line.rpm[0] for line in lines)
    size = round((max(line.rpm[-1] for line in lines) - low) / STEP_RPM) + 1

    def spread(name: str) -> np.ndarray:
        out = np.full((len(lines), size), np.nan)
        for row, line in zip(out, lines, strict=True):
            first = round((line.rpm[0] - low) / STEP_RPM)
            row[first : first + len(line.rpm)] = getattr(line, name)
        return out

    mixture, target = spread("mixture"), spread("target")
    count = np.isfinite(target).sum(axis=0)
    mean = np.where(count > 0, np.nansum(target, axis=0) / np.maximum(count, 1), np.nan)
    return SpeedCurve(
        tuple(lines),
        low + np.arange(size) * STEP_RPM,
        mean,
        np.fmin.reduce(mixture, axis=0),
        np.fmax.reduce(mixture, axis=0),
    )


def pull_curve(judged: Judged, number: int, start_s: float, end_s: float) -> PullCurve | None:
    """A pull's judged rows as means in bins of STEP_RPM; None if it has none.

    A bin whose rows could not be judged is a gap. A bin that the speed skipped between two rows is interpolated.
    """
    columns = judged.columns
    rows = columns.rows(start_s, end_s)
    rpm = columns.rpm[rows]
    value = judged.lambda_aligned[rows]
    load = columns.load()
    keep = judged.shown(rows) & np.isfinite(rpm) & np.isfinite(value)
    if not keep.any():
        return None
    place = np.floor(rpm[keep] / STEP_RPM).astype(int)
    low, size = place.min(), int(np.ptp(place)) + 1
    place -= low
    count = np.bincount(place, minlength=size)
    between = _passed_between(place, np.flatnonzero(keep), count)

    def mean(values: np.ndarray) -> np.ndarray:
        with np.errstate(invalid="ignore", divide="ignore"):
            means = np.bincount(place, values[keep], size) / count
        known = np.flatnonzero(np.isfinite(means))
        if len(known):
            means[between] = np.interp(between, known, means[known])
        return means

    speeds = (np.arange(size) + low + 0.5) * STEP_RPM
    loads = np.full(size, np.nan) if load is None else mean(load.values[rows])
    return PullCurve(number, speeds, mean(value), mean(judged.target[rows]), loads)


def _passed_between(place: np.ndarray, rows: np.ndarray, count: np.ndarray) -> np.ndarray:
    """Bins without rows that the speed skipped from one row to the next.

    place, rows: bin and number of each judged row. count: rows in each bin.
    """
    out = np.zeros(len(count), bool)
    for at in np.flatnonzero((np.diff(rows) == 1) & (np.abs(np.diff(place)) > 1)):
        first, last = sorted((place[at], place[at + 1]))
        out[first + 1 : last] = True
    return np.flatnonzero(out & (count == 0))
