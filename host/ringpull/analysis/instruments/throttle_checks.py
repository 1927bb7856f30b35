"""Checks of the throttle against the drive."""

from __future__ import annotations

import numpy as np

from ringpull.analysis import local
from ringpull.analysis.instruments import signal_checks
from ringpull.analysis.instruments.glance import Glance
from ringpull.analysis.instruments.records import Cause, Check, Finding, contradicted, not_tested, sound
from shared_math import judging, plausible

SWING_PCT = 3.0
FALLS_RPM_S, FALLS_S = 300.0, 1.2  # speed that falls so fast for longer than a gear change means a closed throttle
VACUUM_KPA, VACUUM_S = 40.0, 0.5
IDLES_S = 2.0
OPEN_PCT = 50.0
OPENS_PCT, HARDLY_PCT, FULL_KPA = 40.0, 15.0, 85.0  # a full manifold at part throttle is not a contradiction
RISES_RPM_S, RISES_S, RISES_PCT = 200.0, 1.0, 2.0
RISES_RPM, RISES_UNVOUCHED_RPM = 800.0, 2500.0


def swings(glance: Glance) -> Finding:
    """Whether the throttle moves at all while engine speed goes up and down."""
    return signal_checks.swings(glance, glance.throttle, SWING_PCT, lambda _: Cause.WIRING)


def shut_moments(glance: Glance, trusted_pressure: bool) -> list[tuple[int, int]]:
    """Stretches in which engine speed, or a trusted pressure, shows that the throttle must be closed."""
    with np.errstate(invalid="ignore"):
        falling = (glance.rpm_slope < -FALLS_RPM_S) & (glance.rpm > 1500.0)
        shut = glance.settled(falling, 0.3, FALLS_S - 0.3)
        if trusted_pressure:
            deep = (glance.map_kpa < VACUUM_KPA) & (glance.rpm > 1500.0)
            shut += glance.settled(deep, 0.2, VACUUM_S - 0.2)
    for _, last in glance.standing:
        begin = last + glance.steps(2.0)
        with np.errstate(invalid="ignore"):
            idling = (glance.rpm > 400.0) & (glance.rpm < plausible.IDLE_MOST_RPM) & (np.abs(glance.rpm_slope) < 150.0)
        if idling[begin : begin + glance.steps(IDLES_S)].all() and begin + glance.steps(IDLES_S) < len(glance):
            shut.append((begin, begin + glance.steps(IDLES_S)))
    return sorted(shut)


def closes(glance: Glance, trusted_pressure: bool) -> Finding:
    """Whether the throttle reads a low, stable position when it must be closed.

    If that stops being so during the drive, the finding says from when.
    """
    shut = [
        run for run in shut_moments(glance, trusted_pressure) if np.isfinite(glance.throttle[run[0] : run[1]]).any()
    ]
    if not shut:
        return not_tested(Check.CLOSES)
    shown = [float(np.nanmedian(glance.throttle[a:b])) for a, b in shut]
    rest = float(min(shown))
    wrong = [pct for pct in shown if pct > OPEN_PCT]
    figures = {"rest": rest, "moments": float(len(shut)), "open": max(shown)}
    if rest > judging.REST_MOST_PCT:
        return contradicted(Check.CLOSES, Cause.REST, **figures)
    if wrong:
        return contradicted(Check.CLOSES, Cause.WIRING, **figures)
    return sound(Check.CLOSES, **figures)


def opens(glance: Glance, trusted_pressure: bool) -> Finding:
    """Whether the throttle opens when pressure, or else a long rise of speed, shows that it must be open."""
    known = glance.throttle[np.isfinite(glance.throttle)]
    if not len(known):
        return not_tested(Check.OPENS)
    most = float(np.percentile(known, 99.8))
    kpa = float("nan")
    if trusted_pressure and np.isfinite(glance.map_kpa).any():
        kpa = float(np.nanpercentile(glance.map_kpa[glance.running], 99.5)) if glance.running.any() else kpa
    figures = {"most": most, "kpa": kpa, "rises": float(closed_rises(glance, trusted_pressure))}
    if figures["rises"] >= 1.0:
        return contradicted(Check.OPENS, Cause.WIRING, **figures)
    if most >= OPENS_PCT:
        return sound(Check.OPENS, **figures)
    if most < glance.throttle_rest + HARDLY_PCT and np.isfinite(kpa) and kpa >= FULL_KPA + 10.0:
        return contradicted(Check.OPENS, Cause.WIRING, **figures)
    return not_tested(Check.OPENS)


def closed_rises(glance: Glance, trusted_pressure: bool) -> int:
    """The number of large rises of speed, longer than a downshift, with the throttle reading closed.

    With a trusted pressure only rises with a full manifold count.
    """
    with np.errstate(invalid="ignore"):
        shut = glance.throttle < glance.throttle_rest + RISES_PCT
        if trusted_pressure:
            shut &= glance.map_kpa > FULL_KPA
        runs = local.spans(shut & (glance.rpm_slope > RISES_RPM_S))
    least_rpm = RISES_RPM if trusted_pressure else RISES_UNVOUCHED_RPM
    long = [(a, b) for a, b in runs if (b - a) * glance.step_s >= RISES_S]
    return sum(bool(glance.rpm[b - 1] - glance.rpm[a] > least_rpm) for a, b in long)
