"""Sentences about the assumptions of a power estimate."""

from __future__ import annotations

from ringpull.analysis.power.car import Car, Unknown
from ringpull.analysis.power.motion import COVERAGE, OtherGears

LACKING = {
    Unknown.MASS: "the car's mass isn't known",
    Unknown.GEAR: "the gear of the pulls isn't known (no wheel speed logged, and not exactly one gear configured)",
}


def lines(car: Car, smooth_s: float) -> list[str]:
    """The assumptions about a car; the first line says that power is an estimate. +/- is half of a 95 % interval."""
    out = [
        "an estimate of power at the wheels, not a measurement",
        f"smoothed over {smooth_s:.1f} s; for a car on the road (a roller dyno has another inertia)",
        f"{car.mass_kg:.0f} kg (+/- {COVERAGE * car.mass_u:.0%}), {car.rotating:.2f} times that with rotating parts "
        f"(+/- {COVERAGE * car.rotating_u:.2f}); drag area {car.cda_m2:.2f} m2 (+/- {COVERAGE * car.cda_u:.0%}), "
        f"rolling {car.crr:.3f} (+/- {COVERAGE * car.crr_u:.0%}), air {car.air_kg_m3:.2f} kg/m3",
        f"{car.rpm_per_kmh:.1f} rpm per km/h, {car.gear_from.value}; the tyre within {COVERAGE * car.gear_u:.1%}; "
        f"assumed: no slip, within {COVERAGE * car.slip_u:.1%}; "
        f"no wind, within {COVERAGE * car.wind_u:.0f} m/s along the road",
    ]
    if car.contradicted is not None:
        out.append(
            f"recorded wheel speed contradicts the given gear of {car.contradicted:.1f} rpm per km/h: the measured "
            f"{car.rpm_per_kmh:.1f} is used; check that number, or per_metre of the wheel speed"
        )
    if car.grade is None:
        out.append(f"the road's slope isn't known: the interval allows for {COVERAGE * car.grade_u:.1%} up or down")
    return out


def other_gears(one: OtherGears) -> str:
    """What of a pull does not count because it was driven in another gear."""
    if one.rpm_from is None:
        return "the gear was changed or the wheels slipped all along"
    which = ", taken for the given one" if one.taken_for_given else ""
    count = f"only {one.rpm_from:.0f}-{one.rpm_to:.0f} rpm in one gear count{which}"
    return f"the gear was changed or the wheels slipped: {count}"
