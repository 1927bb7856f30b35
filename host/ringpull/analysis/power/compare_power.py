"""Comparison of the power at the wheels of two drives, by engine speed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ringpull.analysis.cells import sets
from ringpull.analysis.cells.compare import Comparison, Question, compare
from ringpull.analysis.cells.passes import Axes, Pass, SessionPulls, nearest
from ringpull.analysis.power import motion, pull_power
from ringpull.analysis.power.motion import Power

MORE_POWER = Question(better_is=1, method_u=motion.METHOD_U)
SHARES = ("difference", "low", "high", "relative", "relative_low", "relative_high")
LEAST_POINTS = 8  # points that a cell of engine speed needs


def compare_power(before: Sequence[tuple], after: Sequence[tuple]) -> Comparison:
    """Compare the power of two sets of pulls, (pulls.Pull, its car.Car) each. Values in watts, differences as
    shares."""
    every = [*before, *after]
    sessions = [SessionPulls(p.view.judged, ((p.number, p.start_s, p.end_s),)) for p, _ in every]
    rpm = [pull_power.engine_rpm(p.view.columns, car.rpm_per_kmh) for p, car in every]
    speeds = sets.shared_speeds(sessions, rpm)
    sides = []
    for side in (before, after):
        found: list[Pass] = []
        for p, car in side:
            power = pull_power.pull_power(p.view.columns, p.start_s, p.end_s, car, p.view.turns)
            if power is not None:
                found += passes_of(power, speeds, (p.session, p.number))
        sides.append(found)
    return in_watts(compare(sides[0], sides[1], Axes(speeds), MORE_POWER))


def passes_of(power: Power, speeds: np.ndarray, unit: tuple[int, int]) -> list[Pass]:
    """Passes of one pull: the natural logarithm of watts at each of `speeds`, from a straight line through the points
    of the cell. unit: (session, pull).

    In logarithms a difference is a share, and a factor on a whole pull (slope, air, load) is a step common to its
    cells.
    """
    out = []
    cell = np.where(power.watts > 0, nearest(speeds, power.rpm), -1)
    for at, speed in enumerate(speeds):
        here = cell == at
        rpm, count = power.rpm[here], int(np.count_nonzero(here))
        if count < LEAST_POINTS or not rpm.min() < speed < rpm.max():
            continue
        middle = float(np.polyval(np.polyfit(rpm - speed, np.log(power.watts[here]), 1), 0.0))
        out.append(Pass(at, 0, unit, middle, count * power.step_s, True))
    return out


def in_watts(found: Comparison) -> Comparison:
    """A comparison of `passes_of`, converted to watts before and after, with differences as shares of power."""
    bins = [
        replace(
            b,
            before=float(np.exp(b.before)),
            after=float(np.exp(b.after)),
            **{name: float(np.expm1(getattr(b, name))) for name in SHARES},
        )
        for b in found.bins
    ]
    return replace(found, bins=bins, overall=tuple(float(np.expm1(v)) for v in found.overall))
