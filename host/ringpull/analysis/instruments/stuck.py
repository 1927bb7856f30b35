"""Whether a lambda reading stands still within a pull, for too short a time for `lambda_checks.moves`."""

from __future__ import annotations

import numpy as np

from ringpull.analysis import local
from ringpull.analysis.instruments.glance import Glance, decimated
from ringpull.analysis.instruments.lambda_checks import measured, moving
from ringpull.analysis.instruments.records import Cause, Check, Finding, contradicted, not_tested, sound

WINDOW_S = 0.9
MOVES_RPM = 100.0  # engine speed must change by so much meanwhile
LEAN = 0.03  # above target
# The range of a reading's means within WINDOW_S. That of a sound one is larger even in the most even pull; that of one
# that stands still is the noise of the logger's input. Both measured on drives with known truth
STILL_LAMBDA = 0.0015
STILL_SHARE = 0.1  # of the lower quartile in pulls
STILL_RUNNING_SHARE = 0.02  # of the median of a running engine, where closed loop swings
STILL_SIGMAS = 5.0  # standard deviations of a mean, if its rows scatter by white noise alone
SHORT_S, SHORT_FREE, SHORT_SHARE = 0.5, 4, 2  # a sensor with coarse steps stands still in many more places than these


def stuck(glance: Glance, name: str) -> Finding:
    """Whether a reading stands still under load while engine speed changes. One that reads lean is left to be judged.

    A sensor that often stands still elsewhere, since its steps are coarse or it is read seldom, is not tested.
    """
    rows = measured(glance.columns, name)
    values = np.where(glance.running, glance.mean(rows), np.nan)
    width = glance.steps(WINDOW_S)
    low, high = moving(values, width)
    slowest, fastest = moving(glance.rpm, width)
    ranges, known = high - low, np.isfinite(high - low)
    with np.errstate(invalid="ignore"):
        asked = known & (moving(glance.loaded.astype(float), width)[0] > 0.5) & (fastest - slowest >= MOVES_RPM)
        asked &= ~(low > moving(glance.wanted, width)[1] + LEAN)
    if not asked.any():
        return not_tested(Check.STUCK)
    usual = STILL_SHARE * np.percentile(ranges[asked], 25.0), STILL_RUNNING_SHARE * np.median(ranges[known])
    noise = noise_of_means(rows, glance.rows, width)[: len(ranges)]
    with np.errstate(invalid="ignore"):
        still = ranges <= np.minimum(STILL_LAMBDA, np.fmax(STILL_SIGMAS * noise, max(usual)))
    runs = [(a, b + width - 1) for a, b in local.spans(still & asked)]
    tested_s = float(np.count_nonzero(asked)) * glance.step_s
    if not runs or often_still(glance, values, runs, max(*usual, STILL_LAMBDA)):
        return not_tested(Check.STUCK) if runs else sound(Check.STUCK, tested_s=tested_s)
    rpm = np.concatenate([glance.rpm[a:b] for a, b in runs])
    return contradicted(
        Check.STUCK,
        Cause.SENSOR,
        tuple(glance.span(*run) for run in runs),
        seconds=sum(b - a for a, b in runs) * glance.step_s,
        times=float(len(runs)),
        at=float(np.nanmedian(np.concatenate([values[a:b] for a, b in runs]))),
        rpm_low=float(np.nanmin(rpm)),
        rpm_high=float(np.nanmax(rpm)),
    )


def noise_of_means(values: np.ndarray, rows: int, width: int) -> np.ndarray:
    """Standard deviation of means of `rows` rows from the scatter of neighbouring rows alone, within `width` steps from
    each step."""
    squares = decimated(np.concatenate([[np.nan], np.diff(values)]) ** 2, rows) / 2.0
    if len(squares) < width:
        return np.zeros(0)
    return np.sqrt(np.lib.stride_tricks.sliding_window_view(squares, width).mean(axis=1) / rows)


def often_still(glance: Glance, values: np.ndarray, runs: list[tuple[int, int]], within: float) -> bool:
    """Whether a running engine's reading stands still for SHORT_S in many places besides `runs`."""
    low, high = moving(values, glance.steps(SHORT_S))
    with np.errstate(invalid="ignore"):
        short = local.spans(high - low <= min(within, STILL_LAMBDA))
    beside = [one for one in short if not any(one[0] < b and a < one[1] for a, b in runs)]
    return len(beside) > SHORT_FREE + SHORT_SHARE * len(runs)
