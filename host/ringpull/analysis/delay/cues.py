"""Events of a drive that show delay and lag: fuel cuts, their ends, and steps of the target lambda."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

import numpy as np

from ringpull.analysis import local
from ringpull.analysis.drive_state import overrun, roles, target
from ringpull.analysis.drive_state.columns import Columns

MOST_EVENTS = 12  # of each kind, spread over the drive; more cost time and add hardly any certainty
CUT_LAMBDA = 1.25  # lambda rises above this if the fuel really was cut
CUT_RISE, BEFORE_S = 0.15, 0.2  # and by so much above its value before, since a lean engine is not a fuel cut
LEAST_CUT_S = 0.15
STEP_LAMBDA = 0.03
STEP_S = 0.4
APART_S = 1.0
INJECTOR_OFF_MS = 0.3
CLOSED_PCT = 1.5  # above the throttle's closed position
SETTLED_S = 0.45  # so long after a cut's end its gas has reached the sensor
RESUME_RPM = 1850.0  # above this the throttle ends a cut, below it falling engine speed may


class TimeZero(Enum):
    """The moment from which the delay is counted; the values are shown to people."""

    INJECTOR = "injector time"
    COMMANDED = "commanded lambda"
    THROTTLE = "throttle"
    PRESSURE = "manifold pressure"

    @property
    def is_injection(self) -> bool:
        """Whether the moment of injection itself is logged; a delay counted from anything else is only apparent."""
        return self in (TimeZero.INJECTOR, TimeZero.COMMANDED)


@dataclass(frozen=True)
class Inputs:
    """The engine computer's actions, row by row, at the time of injection.

    wanted: target lambda from the logged channels, without fuel cuts. cut: bool, fuel off. zero: time zero. cut_known:
    whether the times of cuts are logged; if not, only the throttle's movement is known, and the cut follows it by an
    unknown latency. injected: fuel per cycle on an arbitrary scale, from injector time, or None.
    """

    wanted: np.ndarray
    cut: np.ndarray
    zero: TimeZero
    cut_known: bool
    injected: np.ndarray | None = None


@dataclass(frozen=True)
class Events:
    """The rows of events. cut_on, cut_off: the fuel is cut, and comes back. steps: target lambda changes.

    tails: first row after a cut at which lambda falls with the sensor's lag alone. seen: number of events of all kinds
    before each kind was reduced to MOST_EVENTS.
    """

    cut_on: list[int]
    cut_off: list[int]
    steps: list[int]
    tails: list[int]
    seen: int


def held(values: np.ndarray) -> np.ndarray:
    """A column with its last valid value held over gaps, and its first valid value before that."""
    there = np.isfinite(values)
    if not there.any():
        return np.ones(len(values))
    last = np.maximum.accumulate(np.where(there, np.arange(len(values)), 0))
    out = values[last]
    return np.where(np.isfinite(out), out, values[there][0])


def fuel_from_injector(columns: Columns, wanted: np.ndarray, off: np.ndarray) -> np.ndarray:
    """Fuel per cycle from injector on-time, in kPa of air at lambda 1; 0 while off.

    On-time is dead time plus fuel over the injectors' flow. Both come from a regression over the drive, in which
    volumetric efficiency may be a parabola in engine speed. Only ratios within a second matter to the fit.
    """
    injector, map_kpa, rpm = columns.extra["injector"], columns.map_kpa, columns.rpm
    air = map_kpa / wanted
    good = ~off & np.isfinite(injector) & np.isfinite(air) & np.isfinite(rpm)
    if np.count_nonzero(good) < 200:
        return np.where(off, 0.0, held(air))
    speed = rpm / 5000.0
    sides = np.stack([np.ones(len(air)), air, air * speed, air * speed**2], axis=1)
    solution = np.linalg.lstsq(sides[good], injector[good], rcond=None)[0]
    dead_ms = float(np.clip(solution[0], 0.0, 2.0))
    per_air = solution[1] + solution[2] * speed + solution[3] * speed**2
    with np.errstate(invalid="ignore", divide="ignore"):
        fuel = (injector - dead_ms) / per_air
    return np.where(off, 0.0, np.maximum(held(np.where(good, fuel, np.nan)), 1.0))


def half_firing_rows(columns: Columns) -> np.ndarray:
    """For each row the row half a firing interval later.

    An on-time is updated once per firing, so the logged value is on average that old. An on-time measured at an
    injector is updated when the injector closes.
    """
    engine, measured = columns.config.engine, roles.channel_for("injector", columns.config.channels)
    at_injector = measured is not None and measured.kind == "pulse_width"
    per_cycle = measured.per_cycle if measured is not None and at_injector else engine.assumed_cylinders
    rpm = np.maximum(np.nan_to_num(columns.rpm, nan=3000.0), 500.0)
    late_s = 0.5 * 30.0 * engine.strokes / (rpm * per_cycle)
    rows = np.arange(len(rpm)) + np.round(late_s / columns.period_s).astype(int)
    return np.minimum(rows, len(rpm) - 1)


def closed(columns: Columns) -> np.ndarray:
    """Where the throttle is closed with the engine turning fast, until it first moves."""
    if columns.throttle is None:
        return np.zeros(len(columns), bool)
    throttle = local.mean(columns.throttle, 1)[0]
    with np.errstate(invalid="ignore"):
        rest = np.nanpercentile(throttle, 1.0) if np.isfinite(throttle).any() else 0.0
        return (
            (throttle < rest + CLOSED_PCT) & (columns.rpm > overrun.OVERRUN_RPM) & (throttle < overrun.CLOSED_PCT + 5.0)
        )


def inputs(columns: Columns) -> Inputs:
    """Time zero and target lambda from the best logged channel: injector time, commanded lambda, or throttle."""
    commanded, injector = columns.extra.get("commanded"), columns.extra.get("injector")
    cut = overrun.overrun(columns)
    wanted = held(target.targets(columns)[0])
    with np.errstate(invalid="ignore"):
        if injector is not None and np.isfinite(injector).any():
            off = ~(injector > INJECTOR_OFF_MS) & np.isfinite(columns.rpm)
            fuel = fuel_from_injector(columns, wanted, off)
            ahead = half_firing_rows(columns)
            return Inputs(wanted, off[ahead], TimeZero.INJECTOR, True, fuel[ahead])
        if commanded is not None and np.isfinite(commanded).any():
            off = ~np.isfinite(commanded) | (commanded > CUT_LAMBDA)
            wanted = held(np.where(off, np.nan, commanded))
            known = bool((off & cut).any())
            return Inputs(wanted, off if known else cut, TimeZero.COMMANDED, known)
    if columns.throttle is not None:
        return Inputs(wanted, closed(columns), TimeZero.THROTTLE, False)
    return Inputs(wanted, cut, TimeZero.PRESSURE, False)


def spread_out(rows: list[int]) -> list[int]:
    """At most MOST_EVENTS of the rows, evenly chosen."""
    if len(rows) <= MOST_EVENTS:
        return rows
    return [rows[int(at)] for at in np.linspace(0, len(rows) - 1, MOST_EVENTS)]


def find(columns: Columns, given: Inputs) -> Events:
    """The events of a session, at most MOST_EVENTS of a kind."""
    period_s = columns.period_s
    second = round(1.0 / period_s)
    lambda_ = columns.lambda_
    cut_on, cut_off, tails = [], [], []
    for first, last in local.spans(local.close_gaps(given.cut, round(0.05 / period_s))):
        if (last - first) * period_s < LEAST_CUT_S or first < 2 * second or last + 2 * second > len(columns):
            continue
        seen = lambda_[first : last + round(SETTLED_S / period_s)]
        before = lambda_[first - round(BEFORE_S / period_s) : first]
        if not np.isfinite(seen).any() or not np.isfinite(before).any():
            continue
        if np.nanmax(seen) < max(CUT_LAMBDA, float(np.nanmean(before)) + CUT_RISE):
            continue
        cut_on.append(first)
        if given.cut_known or (columns.rpm[last] > RESUME_RPM and lambda_[last] > CUT_LAMBDA):
            cut_off.append(last)
        with np.errstate(invalid="ignore"):
            high = np.flatnonzero(seen >= CUT_LAMBDA)
        start = first + int(high[-1]) + 1
        later = lambda_[start : start + second]
        if len(later) == second and np.isfinite(later).all():
            tails.append(start)
    rows = max(1, round(STEP_S / period_s))
    move = np.abs(given.wanted[rows:] - given.wanted[:-rows]) > STEP_LAMBDA
    steps: list[int] = []
    free = ~local.spread_after(given.cut, round(0.8 / period_s))
    for first, _ in local.spans(local.close_gaps(move, rows)):
        if (not steps or first - steps[-1] > APART_S / period_s) and 2 * second < first < len(columns) - 2 * second:
            seen = lambda_[first - rows : first + second]
            if free[first : first + second].all() and np.isfinite(seen).all() and seen.max() < CUT_LAMBDA:
                steps.append(first + rows // 2)
    every = (cut_on, cut_off, steps, tails)
    return Events(*(spread_out(rows) for rows in every), seen=sum(map(len, every)))
