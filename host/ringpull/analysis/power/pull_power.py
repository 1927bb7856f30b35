"""Power at the wheels in a pull, from the crank's motion in one gear."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ringpull.analysis import local
from ringpull.analysis.drive_state import under_load
from ringpull.analysis.drive_state.columns import Columns
from ringpull.analysis.power import motion
from ringpull.analysis.power.car import GEAR_NEAR, Car, gear_in, ratios

Turns = tuple[np.ndarray, np.ndarray]

SHORTEST_S = 0.6  # least usable length of a pull
OPENING_S = 0.5  # after the load comes on: manifold and charger fill, and a window would mix two motions
RISING_RPM_S = 50.0
CHANGED = 0.88  # engine speed that falls to this share of the speed reached is in another gear


def one_gear(columns: Columns) -> tuple[np.ndarray, motion.OtherGears | None]:
    """(rows of a pull in one gear and at least a window away from others, the other gears or None).

    By the ratio of engine to wheel speed; without it, the longest stretch in which engine speed never falls to CHANGED
    of the speed reached.
    """
    ratio, gear = ratios(columns), gear_in(columns)
    if ratio is not None and gear is not None:
        other = np.isfinite(ratio) & (np.abs(ratio / gear - 1.0) > GEAR_NEAR)
        taken = False
    else:
        other = outside(columns.rpm, longest_rise(columns.rpm, columns.period_s))
        taken = True
    if np.count_nonzero(other) * columns.period_s < 0.1:
        return np.ones(len(columns), bool), None
    half = round(motion.SMOOTH_S / 2.0 / columns.period_s)
    kept = ~(local.spread_after(other, half) | local.spread_after(other[::-1], half)[::-1])
    rpm = columns.rpm[kept & np.isfinite(columns.rpm)]
    if not len(rpm):
        return kept, motion.OtherGears()
    return kept, motion.OtherGears(float(rpm.min()), float(rpm.max()), taken)


def outside(values: np.ndarray, span: tuple[int, int]) -> np.ndarray:
    """All rows except those of a span."""
    out = np.ones(len(values), bool)
    out[span[0] : span[1]] = False
    return out


def longest_rise(rpm: np.ndarray, period_s: float) -> tuple[int, int]:
    """(first row, row after the last) of the longest stretch without a fall to CHANGED of the speed reached in it."""
    starts, most, falling = [0], 0.0, False
    for at in np.flatnonzero(np.isfinite(rpm)).tolist():
        if rpm[at] < CHANGED * most:
            starts.append(at)
            most, falling = rpm[at], True
        elif falling and rpm[at] < most and (at - starts[-1]) * period_s < 1.0:
            starts[-1], most = at, rpm[at]  # the next stretch begins at the end of the fall
        else:
            most, falling = max(most, rpm[at]), falling and rpm[at] <= most
    return max(zip(starts, [*starts[1:], len(rpm)], strict=True), key=lambda span: span[1] - span[0])


def pull_power(
    columns: Columns, start_s: float, end_s: float, car: Car, turns: Sequence[Turns] = ()
) -> motion.Power | None:
    """The power of one pull; None if too little of it can be used.

    turns: (times_s, turns since the first) of the crank's pulses, a pair for each stretch without a loss; without them
    the columns of engine or wheel speed are used. Only rising speed under load counts, from OPENING_S after the load
    came on.
    """
    rows = columns.rows(start_s, end_s)
    period_s = columns.period_s
    in_gear, others = one_gear(columns.part(start_s, end_s))
    loaded = local.close_gaps(under_load.under_load(columns)[0][rows], round(0.1 / period_s))
    parts = []
    for first, last in local.spans(loaded):
        begin_s = float(columns.time_s[rows][first])
        stop_s = begin_s + (last - first) * period_s
        for at_s, speed, rate in motions(columns, begin_s, stop_s, turns, car.rpm_per_kmh):
            row = np.clip(np.round((at_s - columns.time_s[rows.start]) / period_s).astype(int), 0, len(in_gear) - 1)
            good = (at_s >= begin_s + OPENING_S) & (rate * 60.0 > RISING_RPM_S) & np.isfinite(speed) & in_gear[row]
            parts.append((at_s[good], speed[good] * 60.0, rate[good] * 60.0))
    at_s, rpm, rate = (np.concatenate(one) for one in zip(*parts, strict=True)) if parts else (np.zeros(0),) * 3
    if len(at_s) < 2 or len(at_s) * float(np.median(np.diff(at_s))) < SHORTEST_S:
        return None
    found = motion.from_motion(rpm, rate, car)
    return replace(found, other_gears=others, step_s=motion.GRID_S if turns else period_s)


def engine_rpm(columns: Columns, rpm_per_kmh: float) -> np.ndarray:
    """Engine speed, (rows,); if it isn't logged, computed from wheel speed in this gear."""
    if "wheel" in columns.extra and not np.isfinite(columns.rpm).any():
        return columns.extra["wheel"] * rpm_per_kmh
    return columns.rpm


def motions(
    columns: Columns, begin_s: float, stop_s: float, turns: Sequence[Turns], rpm_per_kmh: float
) -> list[tuple[np.ndarray, ...]]:
    """(times_s, turns/s, turns/s^2) between two times, a triple for each stretch of pulses.

    Without pulses one triple from the column of engine speed, or else of wheel speed in the pull's gear.
    """
    if turns:
        cut = [(times_s >= begin_s) & (times_s <= stop_s) for times_s, _ in turns]
        return [motion.quadratic(t[here], n[here]) for (t, n), here in zip(turns, cut, strict=True) if here.any()]
    rows = columns.rows(begin_s, stop_s)
    half = local.half_rows(motion.SMOOTH_S, columns.period_s)
    if rows.stop - rows.start <= 2 * half:
        return []
    offsets = np.arange(-half, half + 1) * columns.period_s
    kernel = np.linalg.pinv(np.stack([offsets**k for k in range(3)], axis=1))
    rpm = engine_rpm(columns, rpm_per_kmh)
    speed, rate = (np.convolve(rpm[rows] / 60.0, kernel[k][::-1], mode="valid") for k in (0, 1))
    return [(columns.time_s[rows][half:-half], speed, rate)]
