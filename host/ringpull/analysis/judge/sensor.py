"""Unusable output of one lambda sensor: states of its controller, ends of its range, electrical events."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ringpull.analysis import local
from ringpull.analysis.delay import transport
from ringpull.analysis.drive_state import overrun, sensor_range
from ringpull.analysis.drive_state.columns import Columns
from shared_math import judging

STEP_S = 0.010  # time over which a step is measured
FAST_SHARE = 0.4  # gas can't change the output faster than a sensor with this share of the lag would
FAST_S = 0.020  # lag used for that if the sensor's lag is only assumed
SLACK = 0.02  # allowance for noise, lambda
TELLS_SHARE = 0.9  # if the lag allows a larger share of the range within STEP_S, steps can't be recognised
AFTER_CUT_S = 1.0  # until the air of a fuel cut has left the pipe
SPIKE_S = 0.10
PAIR_S = 3.0  # rows between two opposite steps no further apart are not used
MANY_ENTRIES = 4  # entries into a state with the engine running; more mean a loose plug


@dataclass(frozen=True)
class Output:
    """One sensor's output; bool arrays (rows,) at the sensor's time.

    state: its controller reports a state instead of lambda. electrical: around steps faster than gas and sensor can be.
    Both are widened by the sensor's lag on either side. rich, lean: at an end of the range. steps: number of electrical
    steps. entries: number of times a state began while the engine ran.
    """

    state: np.ndarray
    electrical: np.ndarray
    rich: np.ndarray
    lean: np.ndarray
    steps: int
    entries: int

    @property
    def unusable(self) -> np.ndarray:
        """Where the output must not be used, not even to correct its neighbours."""
        return self.state | self.electrical


def output(columns: Columns) -> Output:
    """The output of the only sensor of `columns` (see of_bank); of several sensors that of the leaner."""
    values = columns.lambda_
    configured = [c.tau_ms / 1000.0 for c in columns.config.channels if c.tau_ms is not None]
    tau_s = configured[0] if configured else transport.LAG_S
    lost = columns.extra["present"] < 0.5 if "present" in columns.extra else np.zeros(len(columns), bool)
    silent = ~np.isfinite(values) & ~lost
    for (channel, _), flags in columns.states.items():
        if channel in columns.banks and len(columns.banks) == 1:
            silent |= flags
    guard = round(tau_s / columns.period_s)
    beside = both_sides(silent, guard)
    steps, electrical = too_fast(columns, FAST_SHARE * configured[0] if configured else FAST_S, guard, beside)
    rich, lean = sensor_range.rails(columns)
    with np.errstate(invalid="ignore"):
        running = columns.rpm > judging.RUNNING_RPM
    entries = sum(1 for first, _ in local.spans(silent) if first and running[first])
    return Output(beside & ~lost, electrical & ~lost, rich, lean, steps, entries)


def both_sides(flags: np.ndarray, rows: int) -> np.ndarray:
    """True also in the `rows` rows before and after each True."""
    return local.spread_after(flags, rows) | local.spread_after(flags[::-1], rows)[::-1]


def too_fast(columns: Columns, tau_s: float, guard: int, beside: np.ndarray | None = None) -> tuple[int, np.ndarray]:
    """(number of steps faster than a lag of `tau_s` allows, rows to discard with `guard` rows on either side).

    beside: rows in which a step is the beginning or end of a controller's state, and not counted.
    """
    nothing = np.zeros(len(columns), bool)
    least, most = sensor_range.lambda_range(columns.config)
    rows = max(1, round(STEP_S / columns.period_s))
    span = most - least
    limit = span * -np.expm1(-rows * columns.period_s / tau_s) + SLACK if tau_s > 0 else np.inf
    if not np.isfinite(span) or limit > TELLS_SHARE * span or len(columns) <= rows:
        return 0, nothing
    moved = np.zeros(len(columns))
    moved[rows:] = columns.lambda_[rows:] - columns.lambda_[:-rows]
    with np.errstate(invalid="ignore"):
        ups, downs = local.spans(moved > limit), local.spans(moved < -limit)
    # A fuel cut moves lambda through the whole range at once, which is no evidence against the sensor; but its air does
    # not leave again faster than the sensor's lag lets it
    alone = columns.map_kpa is None and columns.throttle is None  # engine speed tells of cuts by itself
    cut = overrun.slowing(columns) if alone else overrun.overrun(columns)
    air = local.spread_after(cut, round(AFTER_CUT_S / columns.period_s))
    near = round(SPIKE_S / columns.period_s)
    spikes = [(up, down) for up in ups for down in downs if 0 <= down[0] - up[1] <= near]
    ups = [one for one in ups if not air[one[0]] or any(one is up for up, _ in spikes)]
    downs = [one for one in downs if not air[one[0]] or any(one is down for _, down in spikes)]
    steps = sorted([(a, b, 1) for a, b in ups] + [(a, b, -1) for a, b in downs])
    spoiled = nothing
    ended = False  # whether a step was the end of a spike, so that what follows is the sensor's again
    for at, (first, last, sign) in enumerate(steps):
        spoiled[max(0, first - rows) : last] = True
        begin, _, other = steps[at + 1] if at + 1 < len(steps) else (last, last, sign)
        paired = other != sign and begin - last <= round(PAIR_S / columns.period_s)
        if paired and not ended:
            spoiled[last:begin] = True
        ended = paired and not ended and begin - last <= near
    counted = [one for one in steps if beside is None or not beside[one[0] : one[1]].any()]
    return len(counted), both_sides(spoiled, guard)
