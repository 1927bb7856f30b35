"""Checks of manifold pressure against the drive."""

from __future__ import annotations

import numpy as np

from ringpull.analysis import local
from ringpull.analysis.drive_state import roles
from ringpull.analysis.instruments import signal_checks
from ringpull.analysis.instruments.glance import CLOSED_ABOVE_REST_PCT, TURNING_RPM, Glance
from ringpull.analysis.instruments.records import Cause, Check, Finding, Span, contradicted, not_tested, sound
from shared_math import plausible

AROUND_KPA = 6.0  # most difference between the ambient channel and the reading with the engine stopped
BELOW_KPA = 15.0  # a closed throttle lowers pressure at least so far below full throttle and below the air's pressure
CLOSED_MOST_KPA = 60.0  # with a closed throttle and a fast engine; above this there is no usable vacuum
FULL_LEAST_KPA = 55.0  # with the throttle wide open, at high altitude behind a restrictor
LIMIT_SHARE = 0.01  # share of the running time that may be impossible, because of spikes
SWING_KPA = 6.0
FUEL_MOVES_KPA = 20.0  # of fuel pressure over a drive with its standing engine: what never moves tells nothing
TOP_SHARE, TOP_S = 0.005, 0.3  # of the configured range
LOW_END, LOW_MOST_KPA, LOW_SHARE = (
    0.05,
    45.0,
    0.25,
)  # share of the range, kPa, share of the rows with the engine running
# After the throttle closed on a fast engine. A manifold empties in a few turns; a blocked hose or a damped signal takes
# longer. Common practice, no source
HALF_MOST_S, CLOSINGS_LEAST, FULL_ENOUGH_KPA, LOWEST = 0.5, 3, 80.0, 2.0
# The idles that are compared are equally fast: an engine that lugs at full load turns as slowly as some idle
IDLE_S, IDLE_STEADY_RPM_S, IDLE_NEAR_RPM, IDLE_LOW_KPA, IDLE_HIGH_KPA = 3.0, 150.0, 150.0, 65.0, 85.0
IDLES_LEAST_S = 6.0  # at high pressure in all, since one may be a start
NEAR_NOUGHT_KPA, BAR_MOST = 6.0, 5.5  # a gauge pressure with the engine stopped; the highest pressure in bar


def ambient(glance: Glance) -> Finding:
    """Whether the reading with the engine stopped is the pressure of the surrounding air."""
    around_kpa = glance.mean(glance.columns.extra.get("ambient"))
    runs = glance.standing
    levels = [float(np.nanmedian(glance.map_kpa[a:b])) for a, b in runs if np.isfinite(glance.map_kpa[a:b]).any()]
    if not levels:
        return not_tested(Check.AMBIENT)
    seconds = sum(b - a for a, b in runs) * glance.step_s
    told = float(np.nanmedian(around_kpa)) if np.isfinite(around_kpa).any() else float("nan")
    if np.isfinite(told):
        worst = max(levels, key=lambda kpa: abs(kpa - told))
        fits = abs(worst - told) <= AROUND_KPA
    else:
        middle = 0.5 * (plausible.AMBIENT_LEAST_KPA + plausible.AMBIENT_MOST_KPA)
        worst = max(levels, key=lambda kpa: abs(kpa - middle))
        fits = plausible.ambient(worst)
    figures = {"kpa": worst, "seconds": seconds, "around": told}
    if fits:
        return sound(Check.AMBIENT, **figures)
    return contradicted(Check.AMBIENT, _cause_at_rest(glance, worst), **figures)


def _cause_at_rest(glance: Glance, kpa: float) -> Cause:
    """The cause of a reading near 0: a gauge pressure, or a pressure in bar if the running engine never shows more."""
    if abs(kpa) > NEAR_NOUGHT_KPA:
        return Cause.FIGURES
    running = glance.map_kpa[glance.running & np.isfinite(glance.map_kpa)]
    return Cause.UNIT if len(running) and np.percentile(running, 99) <= BAR_MOST else Cause.GAUGE


def limits(glance: Glance) -> Finding:
    """Whether pressures with the engine running are possible: not below the deepest vacuum, and not in other units."""
    known = glance.map_kpa[glance.running & np.isfinite(glance.map_kpa)]
    if len(known) * glance.step_s < 2.0:
        return not_tested(Check.LIMITS)
    least, most = (float(np.percentile(known, 100 * share)) for share in (LIMIT_SHARE, 1 - LIMIT_SHARE))
    figures = {"least": least, "most": most}
    if most <= BAR_MOST and least >= 0:
        return contradicted(Check.LIMITS, Cause.UNIT, **figures)
    if least < plausible.MAP_LEAST_KPA:
        # a gauge pressure is below 0 whenever the throttle is not open
        return contradicted(Check.LIMITS, Cause.GAUGE if least < -10.0 else Cause.FIGURES, **figures)
    if most > plausible.MAP_MOST_KPA:
        return contradicted(Check.LIMITS, Cause.FIGURES, **figures)
    return sound(Check.LIMITS, **figures)


def swings(glance: Glance) -> Finding:
    """Whether pressure changes at all while engine speed goes up and down."""
    return signal_checks.swings(glance, glance.map_kpa, SWING_KPA, _cause_still)


def _cause_still(kpa: float) -> Cause:
    return Cause.HOSE if plausible.ambient(kpa) else Cause.WIRING


def follows(glance: Glance) -> Finding:
    """Whether pressure is low with the throttle closed on a fast engine, and high with it wide open.

    If that stops being so during the drive, the finding says from when.
    """

    def levels(runs: list[tuple[int, int]]) -> list[tuple[int, int, float]]:
        found = [(a, b, float(np.nanmedian(glance.map_kpa[a:b]))) for a, b in runs if _known(glance, a, b)]
        return [one for one in found if np.isfinite(one[2])]

    closed, full = levels(glance.closings), levels(glance.openings)
    if not closed or not full:
        return not_tested(Check.FOLLOWS)
    closed_kpa = float(np.median([kpa for _, _, kpa in closed]))
    full_kpa = float(np.median([kpa for _, _, kpa in full]))
    lowest, highest = min(kpa for _, _, kpa in closed), max(kpa for _, _, kpa in full)
    wrong = [one for one in closed if one[2] > min(highest - BELOW_KPA, CLOSED_MOST_KPA)]
    wrong += [one for one in full if one[2] < max(lowest + BELOW_KPA, FULL_LEAST_KPA)]
    figures = {
        "closed": closed_kpa,
        "full": full_kpa,
        "closings": float(len(closed)),
        "openings": float(len(full)),
        "failed": float(len(wrong)),
    }
    if not wrong:
        return sound(Check.FOLLOWS, **figures)
    still = float(np.median([kpa for _, _, kpa in wrong]))
    return contradicted(Check.FOLLOWS, _cause_still(still), _from_when(glance, closed + full, wrong), **figures)


def prompt(glance: Glance) -> Finding:
    """Whether pressure falls soon after the throttle closed on a fast engine. Values asked on the car's bus come too
    seldom for that."""
    loads = [roles.channel_for(role, glance.columns.config.channels) for role in ("map", "throttle")]
    if any(channel is not None and channel.kind == "obd" for channel in loads):
        return not_tested(Check.PROMPT)
    known = glance.map_kpa[glance.running & np.isfinite(glance.map_kpa)]
    lowest_kpa = float(np.percentile(known, LOWEST)) if len(known) else float("inf")
    if lowest_kpa > CLOSED_MOST_KPA:  # no vacuum that the pressure could fall to
        return not_tested(Check.PROMPT)
    with np.errstate(invalid="ignore"):
        shut = glance.throttle < glance.throttle_rest + CLOSED_ABOVE_REST_PCT
        full = glance.map_kpa >= FULL_ENOUGH_KPA
    times = []
    for first, last in local.spans(shut):
        if first < 2 or not full[first - 2 : first].any() or not glance.rpm[first] > TURNING_RPM:
            continue
        half_kpa = 0.5 * (float(np.nanmax(glance.map_kpa[first - 2 : first])) + lowest_kpa)
        with np.errstate(invalid="ignore"):
            fell = np.flatnonzero(glance.map_kpa[first:last] <= half_kpa)
        long_s = (int(fell[0]) if len(fell) else last - first) * glance.step_s
        if len(fell) or long_s > HALF_MOST_S:
            times.append(long_s)
    if len(times) < CLOSINGS_LEAST:
        return not_tested(Check.PROMPT)
    figures = {"seconds": float(np.median(times)), "closings": float(len(times))}
    if figures["seconds"] > HALF_MOST_S:
        return contradicted(Check.PROMPT, Cause.HOSE, **figures)
    return sound(Check.PROMPT, **figures)


def at_idle(glance: Glance) -> Finding:
    """Whether an engine that idled with a vacuum has none from some idle on; without a throttle little else tells of a
    hose that came off."""
    with np.errstate(invalid="ignore"):
        idling = glance.running & (glance.rpm < plausible.IDLE_MOST_RPM)
        idling &= np.abs(glance.rpm_slope) < IDLE_STEADY_RPM_S
    runs = [(a, b) for a, b in local.spans(idling) if (b - a) * glance.step_s >= IDLE_S and _known(glance, a, b)]
    levels = [(a, b, float(np.nanmedian(glance.map_kpa[a:b]))) for a, b in runs]
    low = [one for one in levels if one[2] <= IDLE_LOW_KPA]
    if not low:
        return not_tested(Check.AT_IDLE)
    usual_rpm = float(np.median([np.nanmedian(glance.rpm[a:b]) for a, b, _ in low]))
    high = [
        one
        for one in levels
        if one[2] >= IDLE_HIGH_KPA and abs(float(np.nanmedian(glance.rpm[one[0] : one[1]])) - usual_rpm) < IDLE_NEAR_RPM
    ]
    since = _from_when(glance, low + high, high) if high else ()
    if not since or sum(b - a for a, b, _ in high) * glance.step_s < IDLES_LEAST_S:
        high = []
    figures = {
        "low": float(np.median([kpa for _, _, kpa in low])),
        "high": float(np.median([kpa for _, _, kpa in high])) if high else float("nan"),
        "idles": float(len(levels)),
        "failed": float(len(high)),
    }
    if not high:
        return sound(Check.AT_IDLE, **figures)
    return contradicted(Check.AT_IDLE, Cause.HOSE, since, **figures)


def _known(glance: Glance, first: int, last: int) -> bool:
    return bool(np.isfinite(glance.map_kpa[first:last]).mean() > 0.8)


def _from_when(
    glance: Glance, every: list[tuple[int, int, float]], wrong: list[tuple[int, int, float]]
) -> tuple[Span, ...]:
    """The span after the last stretch that fitted, if all stretches that did not fit come later; else empty."""
    first = min(a for a, _, _ in wrong)
    fitting = [one for one in every if one not in wrong]
    if not fitting or any(a > first for a, _, _ in fitting):
        return ()
    return ((glance.span(max(b for _, b, _ in fitting), first)[0], float(glance.columns.time_s[-1]) + 1.0),)


def below_range(map_kpa: np.ndarray, recorded: np.ndarray, ends: tuple[float, float]) -> np.ndarray:
    """Rows without a value between values near the low end of the range, (rows,): a vacuum deeper than it can show.

    None of them if they are most of the drive.
    """
    out = np.zeros(len(map_kpa), bool)
    near = ends[0] + LOW_END * (ends[1] - ends[0])
    if not np.isfinite(near) or near > LOW_MOST_KPA:
        return out
    for first, last in local.spans(recorded & ~np.isfinite(map_kpa)):
        beside = [map_kpa[at] for at in (first - 1, last) if 0 <= at < len(map_kpa)]
        out[first:last] = all(value < near for value in beside)
    return out if np.count_nonzero(out) <= LOW_SHARE * np.count_nonzero(recorded) else np.zeros(len(map_kpa), bool)


def top(glance: Glance, most_kpa: float) -> Finding:
    """Whether pressure stays at the top of the sensor's configured range, where the true pressure is higher."""
    if not np.isfinite(most_kpa) or not glance.running.any():
        return not_tested(Check.TOP)
    with np.errstate(invalid="ignore"):
        high = (glance.map_kpa >= most_kpa * (1 - TOP_SHARE)) & glance.running
    seconds = sum(b - a for a, b in local.spans(high) if (b - a) * glance.step_s >= TOP_S) * glance.step_s
    if seconds:
        return contradicted(Check.TOP, Cause.RANGE, seconds=seconds, at=most_kpa)
    return sound(Check.TOP, seconds=0.0, at=most_kpa)


def fuel_moves(values: np.ndarray) -> Finding:
    """Whether fuel pressure moves at all. A system without a regulator on the manifold may rightly hold it: that it
    stands still speaks neither for its sensor nor against it."""
    known = values[np.isfinite(values)]
    if not len(known):
        return not_tested(Check.MOVES)
    low, high = (float(one) for one in np.percentile(known, (0.5, 99.5)))
    figures = {"low": low, "high": high}
    return sound(Check.MOVES, **figures) if high - low >= FUEL_MOVES_KPA else not_tested(Check.MOVES)
