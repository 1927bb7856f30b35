"""Checks of engine speed, wheel speed and supply against the drive."""

from __future__ import annotations

import numpy as np

from ringpull.analysis import local
from ringpull.analysis.instruments.glance import Glance, decimated
from ringpull.analysis.instruments.records import Cause, Check, Finding, contradicted, not_tested, sound
from ringpull.files.configuration import crank_of
from shared_math import plausible

IDLE_AFTER_START_S, IDLE_WITHIN_S, IDLE_S = 1.5, 20.0, 2.0
IDLE_STEADY_RPM_S, IDLE_STEADY_SHARE = 150.0, 0.10
LOADED_PCT, LOADED_KPA, LOST_S, LOST_SHARE = 60.0, 85.0, 1.0, 0.25
CRAWL_S = 5.0  # longer than a starter turns
AGREE, AGREE_S = 0.03, 5.0
GEAR_NEAR, GEAR_SHARE, GEAR_S, GEARS_LEAST, GEAR_KMH = 0.08, 0.2, 3.0, 3, 20.0


def idle(glance: Glance) -> Finding:
    """Whether idle speed after a start with the throttle closed is in the range of engines.

    No engine runs below that range for longer than a starter turns.
    """
    rpm = glance.rpm
    with np.errstate(invalid="ignore"):
        crawls = (rpm > 0) & (rpm < plausible.IDLE_LEAST_RPM) & (np.abs(glance.rpm_slope) < IDLE_STEADY_RPM_S)
    slow = glance.settled(crawls, 0.0, CRAWL_S)
    if slow:
        seconds = sum(b - a for a, b in slow) * glance.step_s
        level = float(np.nanmedian(np.concatenate([rpm[a:b] for a, b in slow])))
        return contradicted(Check.IDLE, Cause.PULSES, rpm=level, seconds=seconds)
    first = glance.wakes
    if first is None or not np.isfinite(glance.throttle).any():
        return not_tested(Check.IDLE)
    begin = first + glance.steps(IDLE_AFTER_START_S)
    with np.errstate(invalid="ignore"):
        touched = np.flatnonzero(glance.throttle > glance.throttle_rest + 4.0)
        end = min(begin + glance.steps(IDLE_WITHIN_S), int(touched[0]) if len(touched) else len(rpm))
        steady = np.abs(glance.rpm_slope) < np.maximum(IDLE_STEADY_RPM_S, IDLE_STEADY_SHARE * rpm)
    steady[:begin], steady[end:] = False, False
    runs = [run for run in local.spans(steady) if run[1] - run[0] >= glance.steps(IDLE_S)]
    if not runs:
        return not_tested(Check.IDLE)
    here = slice(*min(runs, key=lambda run: float(np.median(rpm[slice(*run)]))))
    figures = {"rpm": float(np.median(rpm[here])), "seconds": (here.stop - here.start) * glance.step_s}
    if plausible.IDLE_LEAST_RPM <= figures["rpm"] <= plausible.IDLE_MOST_RPM:
        return sound(Check.IDLE, **figures)
    return contradicted(Check.IDLE, Cause.PULSES, **figures)


def breaks(glance: Glance) -> Finding:
    """Whether engine speed is valid while throttle or pressure shows that the engine pulls."""
    with np.errstate(invalid="ignore"):
        pulling = ((glance.throttle >= LOADED_PCT) | (glance.map_kpa >= LOADED_KPA)) & glance.present
    known = np.flatnonzero(glance.running)
    pulling[: known[0] if len(known) else len(pulling)] = False
    pulling[known[-1] if len(known) else 0 :] = False
    seconds = float(np.count_nonzero(pulling)) * glance.step_s
    if seconds < 1.0:
        return not_tested(Check.BREAKS)
    silent = pulling & ~np.isfinite(glance.rpm)
    lost_s = float(np.count_nonzero(silent)) * glance.step_s
    figures = {"breaks": float(len(local.spans(silent))), "seconds": lost_s}
    if lost_s >= LOST_S and lost_s > LOST_SHARE * seconds:
        return contradicted(Check.BREAKS, Cause.WIRING, **figures)
    return sound(Check.BREAKS, **figures)


def agrees(glance: Glance) -> Finding:
    """Whether a second engine speed (another pulse channel, or a channel in rpm) agrees with the first."""
    columns = glance.columns
    crank = crank_of(columns.config.channels)
    for other in columns.config.channels:
        if other is crank or other.name not in columns.named:
            continue
        if not other.per_rev and other.unit != "rpm":
            continue
        second = decimated(columns.named[other.name], glance.rows)
        good = glance.running & np.isfinite(second)
        if np.count_nonzero(good) * glance.step_s < AGREE_S:
            continue
        ratio = float(np.median(second[good] / glance.rpm[good]))
        figures = {"ratio": ratio, "other": other.name}
        if abs(ratio - 1.0) > AGREE:
            return contradicted(Check.AGREES, Cause.PULSES, **figures)
        return sound(Check.AGREES, **figures)
    return not_tested(Check.AGREES)


def gear(glance: Glance) -> Finding:
    """Whether engine speed over wheel speed fits the configured gears."""
    gears = glance.columns.config.vehicle.gears
    wheel = glance.mean(glance.columns.extra.get("wheel"))
    with np.errstate(invalid="ignore"):
        good = glance.loaded & (wheel > GEAR_KMH) & (glance.rpm_slope > 50.0)
    if len(gears) < GEARS_LEAST or np.count_nonzero(good) * glance.step_s < GEAR_S:
        return not_tested(Check.GEAR)
    ratio = glance.rpm[good] / wheel[good]
    known = np.array(sorted(float(one) for one in gears))
    off = np.abs(ratio[:, None] / known[None, :] - 1.0)
    share = float((off.min(axis=1) < GEAR_NEAR).mean())
    usual = float(np.median(ratio))
    figures = {"ratio": usual, "nearest": float(known[np.argmin(np.abs(known / usual - 1.0))]), "share": share}
    return sound(Check.GEAR, **figures) if share >= GEAR_SHARE else contradicted(Check.GEAR, Cause.PULSES, **figures)


def supply(glance: Glance) -> Finding:
    """Whether the supply voltage with the engine running is that of a charging alternator."""
    volts = glance.mean(glance.columns.extra.get("battery"))
    good = glance.running & np.isfinite(volts)
    if np.count_nonzero(good) * glance.step_s < 5.0:
        return not_tested(Check.SUPPLY)
    level = float(np.median(volts[good]))
    fits = any(
        plausible.SUPPLY_LEAST_MV <= 1000 * level / batteries <= plausible.SUPPLY_MOST_MV for batteries in (1, 2)
    )
    return sound(Check.SUPPLY, volts=level) if fits else contradicted(Check.SUPPLY, Cause.SUPPLY, volts=level)
