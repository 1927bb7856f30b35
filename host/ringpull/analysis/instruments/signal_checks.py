"""Checks of any channel by the shape of its signal: standing still, flat tops, coarse steps, dropouts."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from ringpull.analysis import local
from ringpull.analysis.instruments.glance import Glance
from ringpull.analysis.instruments.records import Cause, Check, Finding, contradicted, not_tested, sound

FLAT_S, FLAT_LEAST_S = 0.25, 1.0  # least length of one flat stretch, and of all together
QUIET = 0.25  # noise at a flat top is below this share of the noise elsewhere
NEAR_TOP = 0.01  # share of the signal's span that counts as its top
COVERED = (2.0, 98.0)  # percentiles of the span with which steps are compared
BINS, LEVEL_BINS, CROWDED = 100, 2, 0.3  # bins in the span; bins of a level; share of an even count in a crowded bin
COARSE_SHARE, COARSE_LEAST = 0.9, 4  # a coarse signal has this share of its rows on at least so many levels
BREAKS_S, BREAKS_LEAST = 1.0, 10
MOST_PROBED = 40_000
# engine speed must have covered this span for so long before a still signal is evidence
SWING_RPM, SWING_S = 1500.0, 5.0


def swings(glance: Glance, values: np.ndarray, least: float, cause: Callable[[float], Cause]) -> Finding:
    """Whether a signal changes by `least` while engine speed goes up and down.

    values: (rows,) of the glance. cause: gives the cause of standing still from the value.
    """
    good = glance.running & np.isfinite(values)
    if np.count_nonzero(good) * glance.step_s < SWING_S:
        return not_tested(Check.SWINGS)
    rpm = np.percentile(glance.rpm[good], (2, 98))
    low, high = np.percentile(values[good], (1, 99))
    figures = {"low": float(low), "high": float(high), "rpm_low": float(rpm[0]), "rpm_high": float(rpm[1])}
    if rpm[1] - rpm[0] < SWING_RPM:
        return not_tested(Check.SWINGS)
    if high - low < least:
        return contradicted(Check.SWINGS, cause(float(high)), **figures)
    return sound(Check.SWINGS, **figures)


def noise(values: np.ndarray) -> np.ndarray:
    """Noise of each row from second differences, without the signal's own curvature, (rows,); NaN at the ends."""
    out = np.full(len(values), np.nan)
    if len(values) > 2:
        out[1:-1] = np.abs(np.diff(values, 2))
    return out


def flat_top(values: np.ndarray, usable: np.ndarray, period_s: float, top: float) -> Finding:
    """Whether a signal is flat at its highest value, below the top of its configured range.

    usable: (rows,) where the engine runs and the signal is valid.
    """
    known = values[usable & np.isfinite(values)]
    if len(known) * period_s < 5.0:
        return not_tested(Check.FLAT)
    low, high = float(known.min()), float(known.max())
    span = high - low
    if span <= 0 or high >= top - 0.01 * abs(top):
        return not_tested(Check.FLAT)
    with np.errstate(invalid="ignore"):
        near = usable & (values >= high - NEAR_TOP * span)
    size = noise(values)
    elsewhere = size[usable & ~near & np.isfinite(size)]
    usual = float(np.median(elsewhere)) if len(elsewhere) else 0.0
    if usual <= 0:
        return not_tested(Check.FLAT)
    flat = near & (np.nan_to_num(size, nan=0.0) <= 1e-9 + 0.02 * usual)
    runs = [(a, b) for a, b in local.spans(flat) if (b - a) * period_s >= FLAT_S]
    seconds = sum(b - a for a, b in runs) * period_s
    if seconds >= FLAT_LEAST_S:
        return contradicted(Check.FLAT, Cause.RANGE, seconds=seconds, at=high)
    return sound(Check.FLAT, seconds=seconds, at=high)


def coarse(values: np.ndarray) -> Finding:
    """Whether a signal has only a few levels with wide steps between them."""
    known = values[np.isfinite(values)]
    known = known[:: max(1, len(known) // MOST_PROBED)]
    if len(known) < 1000:
        return not_tested(Check.COARSE)
    low, high = np.percentile(known, COVERED)
    if high <= low:
        return not_tested(Check.COARSE)
    count, edges = np.histogram(known, BINS, (low, high))
    # a level fills one bin, or two if it lies at their edge; a filter's values between levels fill none
    levels = [run for run in local.spans(count > CROWDED * len(known) / BINS) if run[1] - run[0] <= LEVEL_BINS]
    inside = sum(int(count[first:last].sum()) for first, last in levels)
    middles = [0.5 * (edges[first] + edges[last]) for first, last in levels]
    step = float(np.median(np.diff(middles))) if len(middles) > 1 else 0.0
    if len(levels) >= COARSE_LEAST and inside > COARSE_SHARE * count.sum():
        return contradicted(Check.COARSE, Cause.SENSOR, step=step)
    return sound(Check.COARSE, step=step)


def breaks(values: np.ndarray, usable: np.ndarray, period_s: float) -> Finding:
    """Whether a signal leaves its sensor's range: a wire off, a loose plug, or a sensor that is too small.

    usable: (rows,) recorded rows with the engine running.
    """
    if np.count_nonzero(usable) * period_s < 5.0:
        return not_tested(Check.BREAKS)
    runs = local.spans(usable & ~np.isfinite(values))
    seconds = sum(b - a for a, b in runs) * period_s
    figures = {"breaks": float(len(runs)), "seconds": seconds}
    if seconds >= BREAKS_S or len(runs) >= BREAKS_LEAST:
        return contradicted(Check.BREAKS, Cause.LOOSE if len(runs) >= BREAKS_LEAST else Cause.WIRING, **figures)
    return sound(Check.BREAKS, **figures)
