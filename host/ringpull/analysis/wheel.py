"""Power at the wheels of a session's pull: the car from its configuration, the gear, and the crank's motion."""

from __future__ import annotations

import numpy as np

from ringpull.analysis import load, local, power
from ringpull.analysis.columns import Columns

SHORTEST_S = 1.0
GEAR_NEAR = 0.06  # of a configured gear; further away the wheels slip or the gear is another


def gear_in(columns: Columns) -> float | None:
    """rpm per km/h: the configured gear nearest to what engine and wheel speed say, the measured ratio where gears
    aren't configured, the only configured gear, or None."""
    gears = columns.config.get("vehicle", {}).get("gears") or []
    wheel = columns.extra.get("wheel")
    if wheel is not None and np.isfinite(wheel).any():
        moving = np.isfinite(wheel) & (wheel > 20.0) & np.isfinite(columns.rpm)
        if moving.any():
            measured = float(np.median(columns.rpm[moving] / wheel[moving]))
            if not gears:
                return measured
            gear, apart = power.gear_of(columns.rpm[moving], wheel[moving], gears)
            return gear if abs(apart) < GEAR_NEAR else measured
    return float(gears[0]) if len(gears) == 1 else None


def car_from(columns: Columns, mass_kg: float | None, gear: float | None, grade: float | None) -> power.Car | str:
    """The car, from arguments and configuration; or what is missing, in words."""
    vehicle = columns.config.get("vehicle", {})
    mass_kg = vehicle.get("mass_kg") if mass_kg is None else mass_kg
    gear = gear_in(columns) if gear is None else gear
    if mass_kg is None:
        return "the car's mass isn't known"
    if gear is None:
        return "the gear of the pulls isn't known (no wheel speed, and not one gear configured)"
    drag, rolling = vehicle.get("cda_m2"), vehicle.get("crr")
    return power.Car(
        mass_kg=mass_kg,
        rpm_per_kmh=gear,
        cda_m2=power.CDA_M2 if drag is None else drag,
        crr=power.CRR if rolling is None else rolling,
        grade=grade,
        cda_u=power.CDA_ASSUMED_U if drag is None else power.CDA_U,
        crr_u=power.CRR_ASSUMED_U if rolling is None else power.CRR_U,
    )


def pull_power(columns: Columns, start_s: float, end_s: float, car: power.Car) -> power.Power | None:
    """Power of one pull from the engine speed column (means over engine cycles, centred), or None for a pull that is
    too short or whose speed has gaps. Only rows of rising speed count."""
    rows = columns.rows(start_s - power.SMOOTH_S, end_s + power.SMOOTH_S)
    rpm = columns.rpm[rows]
    period_s = columns.period_s
    half = local.half_rows(power.SMOOTH_S, period_s)
    if len(rpm) < 2 * half + SHORTEST_S / period_s:
        return None
    offsets = np.arange(-half, half + 1) * period_s
    kernel = np.linalg.pinv(np.stack([offsets**k for k in range(3)], axis=1))
    speed = np.convolve(rpm, kernel[0][::-1], mode="valid")
    rate = np.convolve(rpm, kernel[1][::-1], mode="valid")
    time_s = columns.time_s[rows][half:-half]
    known = load.under_load(columns)[0][rows][half:-half]
    # a window that reaches over the throttle's movement mixes two motions
    good = np.isfinite(speed) & (rate > 50.0) & known & (time_s >= start_s + half * period_s)
    good &= time_s <= end_s - half * period_s
    if np.count_nonzero(good) * period_s < SHORTEST_S:
        return None
    return power.from_motion(speed[good], rate[good], car)
