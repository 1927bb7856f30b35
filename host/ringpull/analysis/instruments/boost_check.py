"""Whether manifold pressure holds above the surrounding air, where no other check looks: injector time tells.

Air per cycle goes with manifold pressure at each engine speed. It is fuel times lambda, and fuel is on-time less the
injector's dead time. What lies on one line below the surrounding air's pressure must go on so above it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ringpull.analysis import local
from ringpull.analysis.drive_state import under_load
from ringpull.analysis.instruments.glance import Glance
from ringpull.analysis.instruments.records import Cause, Check, Finding, State, contradicted, not_tested, sound

ABOVE_KPA, BELOW_KPA = 15.0, 3.0  # boost that is compared; up to so much above the air's pressure there is none
REACHES_S = 0.5  # a drive reaches boost from here
LOW_S, HIGH_S = 0.3, 0.5  # least time below, in a step of engine speed, and least time above in all
SPEED_STEP_RPM, SPEED_LEAST_RPM = 500.0, 1500.0  # no engine fills alike at all speeds: each step has its own line
LOW_SPAN_KPA = 30.0  # the line's least length
ON_MS, LAMBDA_LEAST, LAMBDA_MOST = 0.3, 0.6, 1.15
# While pressure rises the fuel film takes more than what burns; lambda shows it later by about so much
SETTLED_KPA_S, SETTLED_S, LATE_S = 40.0, 0.3, 0.2
SCATTER_SHARE, FITS_SHARE = 0.06, 0.04  # most scatter about the line; most that a pressure found sound is off it
# Fuel pressure that does not follow the manifold gives less against boost. The least usual at the rail, above the air's
RAIL_KPA = 280.0
ROOM = 1.10  # for filling that is better with boost: common practice, no source
MOST_WITHIN = 0.25  # share of the time that may be within these limits where they are broken


@dataclass(frozen=True)
class Above:
    """What injector time tells in the steps with boost. ratio: of the air that it tells to that of the line, at the
    pressure shown; limit: the most that a sound sensor leaves; kpa: shown; (steps,) each."""

    ratio: np.ndarray
    limit: np.ndarray
    kpa: np.ndarray


def boost(glance: Glance, trusted_lambda: bool) -> Finding:
    """Whether injector time and lambda show as much air with boost as pressure says. If nothing in the drive tells it,
    the finding holds the pressure that it reached."""
    air_kpa = glance.mean(under_load.ambient_kpa(glance.columns))
    with np.errstate(invalid="ignore"):
        over = glance.running & (glance.map_kpa >= air_kpa + ABOVE_KPA)
    if np.count_nonzero(over) * glance.step_s < REACHES_S:
        return not_tested(Check.BOOST)
    untested = Finding(Check.BOOST, State.NOT_TESTED, {"kpa": float(np.percentile(glance.map_kpa[over], 95.0))})
    found = above(glance, air_kpa) if trusted_lambda else None
    if found is None or len(found.ratio) * glance.step_s < HIGH_S:
        return untested
    ratio, kpa = float(np.median(found.ratio)), float(np.median(found.kpa))
    figures = {
        "ratio": ratio,
        "shown": kpa,
        "told": float(np.median(found.ratio * found.kpa)),
        "to": float(np.percentile(found.kpa, 95.0)),
        "seconds": len(found.ratio) * glance.step_s,
    }
    if np.mean(found.ratio <= found.limit) <= MOST_WITHIN:
        return contradicted(Check.BOOST, Cause.BOOST, **figures)
    return sound(Check.BOOST, **figures) if abs(ratio - 1.0) <= FITS_SHARE else untested


def above(glance: Glance, air_kpa: np.ndarray) -> Above | None:
    """Injector time with boost, held against the line below it; None without injector time or without a line."""
    injector = glance.columns.extra.get("injector")
    if injector is None or not np.isfinite(injector).any():
        return None
    on_ms, kpa, rpm = glance.mean(injector), glance.map_kpa, glance.rpm
    late = glance.steps(LATE_S)
    burnt = np.concatenate([glance.mean(glance.columns.lambda_)[late:], np.full(late, np.nan)])[: len(glance)]
    rises = local.line(kpa, glance.step_s, local.half_rows(SETTLED_S, glance.step_s))[1]
    with np.errstate(invalid="ignore"):
        settled = glance.running & (np.abs(rises) < SETTLED_KPA_S) & (rpm > SPEED_LEAST_RPM) & (on_ms > ON_MS)
        settled &= (burnt > LAMBDA_LEAST) & (burnt < LAMBDA_MOST)
        low, high = settled & (kpa <= air_kpa + BELOW_KPA), settled & (kpa >= air_kpa + ABOVE_KPA)
    step = np.floor(np.nan_to_num(rpm) / SPEED_STEP_RPM)
    told = [one for one in np.unique(step[low]) if np.count_nonzero(step[low] == one) * glance.step_s >= LOW_S]
    low, high = low & np.isin(step, told), high & np.isin(step, told)
    if not high.any() or np.ptp(np.percentile(kpa[low], (5.0, 95.0))) < LOW_SPAN_KPA:
        return None
    # On-time times lambda is dead time and a slope of each step of engine speed, times pressure
    air = on_ms * burnt
    sides = np.column_stack([np.ones(np.count_nonzero(low)), *(kpa[low] * (step[low] == one) for one in told)])
    solution = np.linalg.lstsq(sides, air[low], rcond=None)[0]
    off = air[low] - sides @ solution
    slopes = solution[1:]
    if float(np.std(off)) > SCATTER_SHARE * float(np.median(air[low])) or slopes.min() <= 0:
        return None
    # A mixture leaner than wanted lacks fuel, not air: it speaks against the supply, and of that the answer tells
    wanted = glance.wanted
    there = on_ms * np.fmin(burnt, np.where(np.isfinite(wanted), wanted, np.inf))
    slope = slopes[np.searchsorted(told, step[high])]
    against = np.clip(RAIL_KPA - (kpa[high] - air_kpa[high]), 0.25 * RAIL_KPA, RAIL_KPA)
    limit = ROOM * np.sqrt(RAIL_KPA / against)
    return Above((there[high] - solution[0]) / (slope * kpa[high]), limit, kpa[high])
