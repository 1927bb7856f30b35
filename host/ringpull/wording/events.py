"""Lean events, what moved with them, and other events, as sentences."""

from __future__ import annotations

from ringpull.analysis.judge import spool
from ringpull.analysis.judge.hints import Hint
from ringpull.analysis.judge.lean_events import GOOD_DEPTH, LEAST_DEPTH, LEAST_S, SIGMAS, WINDOW_S, LeanEvent
from ringpull.analysis.judge.other_events import OtherEvent
from ringpull.said import LAMBDA, Figure, Said, degc, kpa, lam, say

SPEED_STEP, LOAD_STEP = 50, 5  # printed speeds and loads are rounded to these, as a tuner would
NARROW = 20.0  # a range of loads narrower than this is printed as one figure
CAUSE, RESULT = "possible cause", "possible consequence"

RULE = say(
    f"mean lambda over {WINDOW_S:.2f} s above target by more than ",
    lam(LEAST_DEPTH),
    " and by more than ",
    lam(GOOD_DEPTH),
    f" plus {SIGMAS:.0f} times its random standard uncertainty, under load, for at least {LEAST_S:.2f} s",
)


SPOOL_RULE = say(
    f"from {spool.AFTER_S:.2f} s plus twice the delay's uncertainty after the throttle opened, mean lambda over "
    f"{spool.WINDOW_S:.1f} s above target by more than ",
    lam(spool.DEPTH),
    f", for at least {spool.LEAST_S:.2f} s, in at least {spool.LEAST_PULLS} pulls and at least half of all pulls; in a "
    "single pull by more than ",
    lam(spool.SURE_DEPTH),
)


def at_load(low: float, high: float, unit: str) -> Said:
    """A range of loads with its unit."""
    if unit == "kPa":
        return say(Figure(low, "load", 0), "-", kpa(high))
    return say(f"{low:.0f}-{high:.0f} {unit}".rstrip())


def nearest(value: float, step: int) -> float:
    """The value rounded to a multiple of step."""
    return round(value / step) * step


def speeds(rpm_from: float, rpm_to: float) -> str:
    """A range of engine speeds in round figures; a single figure if both ends round to it."""
    low, high = nearest(rpm_from, SPEED_STEP), nearest(rpm_to, SPEED_STEP)
    return f"{low:.0f} rpm" if low == high else f"{low:.0f}-{high:.0f} rpm"


def load(low: float, high: float, unit: str) -> Said:
    """A range of loads in round figures; a single figure if it is narrow."""
    if high - low > NARROW:
        return at_load(nearest(low, LOAD_STEP), nearest(high, LOAD_STEP), unit)
    middle = nearest((low + high) / 2.0, LOAD_STEP)
    return say(kpa(middle)) if unit == "kPa" else say(f"{middle:.0f} {unit}".rstrip())


def mixture(event: LeanEvent) -> Said:
    """Measured and target: "lambda 0.88 +/- 0.02 where 0.79 was wanted, about 12 % lean", with one uncertainty."""
    measured = event.target + event.depth
    half = (event.depth_u**2 + event.systematic_u**2) ** 0.5
    value = (Figure(measured, "lambda", 2), " +/- ", lam(half, 2, base=measured))
    if event.bound:
        value = ("at least ", Figure(measured, "lambda", 2), " (the lean end of the sensor's range)")
    about = "at least" if event.bound else "about"
    return say(
        *(LAMBDA, " ", *value, " where ", Figure(event.target, "lambda", 2)),
        f" was wanted, {about} {100 * event.depth / event.target:.0f} % lean",
    )


def at(event: LeanEvent, rpm_from: float, rpm_to: float) -> Said:
    """The engine speeds and the load of a lean place."""
    there = () if event.load_from is None or event.load_to is None else (
        " at ", load(event.load_from, event.load_to, event.load_unit)
    )  # fmt: skip
    return say(speeds(rpm_from, rpm_to), *there)


def event(one: LeanEvent) -> Said:
    """The sentence for one lean event."""
    bank = "" if one.bank is None else f", on {one.bank_label or one.bank}"
    return say(at(one, one.rpm_from, one.rpm_to), ": ", mixture(one), f", for {one.length_s:.1f} s{bank}")


def hint(one: Hint) -> Said:
    """What changed together with a lean event: a possible cause, never a verdict."""
    if one.kind in ("moved", "low"):
        return _moved(one)
    if one.kind == "duty":
        return say(f"{CAUSE}: injector duty reached {one.size:.0%}, near its limit")
    if one.kind == "boost":
        return say(f"{CAUSE}: boost ", kpa(one.size), " above its target")
    if one.kind == "limiter":
        return say(
            f"{CAUSE}: a limiter that cuts fuel: engine speed stayed at {one.size:.0f} rpm, the highest of the drive"
        )
    return say(
        f"{CAUSE}: the sensor is in free air, or a wire is off: lambda was at the lean end of its range throughout"
    )


def _moved(one: Hint) -> Said:
    low = one.kind == "low"
    if one.role == "fuel_pressure":
        was = ("was ", kpa(one.size), " below its base") if low else ("fell by ", kpa(one.size))
        return say(f"{CAUSE}: fuel pressure above manifold pressure ", *was)
    if one.role == "battery":
        was = f"was {one.size:.1f} V below its base" if low else f"fell by {one.size:.1f} V"
        return say(f"{CAUSE}: supply voltage {was}, so injectors open later")
    if one.role == "intake":
        return say(f"{CAUSE}: intake air warmed by ", degc(one.size, change=True))
    if one.role == "trim":
        return say(f"{CAUSE}: the fuel trim fell by {one.size:.0f} %")
    if one.role == "exhaust":
        return say(f"{RESULT}: exhaust gas warmed by ", degc(one.size, change=True))
    return say(f"{RESULT}: the knock channel rose")


def other(one: OtherEvent) -> Said:
    """The sentence for an event other than a lean one."""
    if one.kind == "rich":
        return say("rich by ", lam(one.size), f" for {one.length_s:.2f} s")
    if one.kind == "oscillation":
        return say("lambda oscillates by +/- ", lam(one.size), f" at {one.hz:.1f} Hz")
    if one.kind == "boost overshoot":
        return say("boost overshot by ", kpa(one.size))
    return say("boost crept up by ", kpa(one.size), f" over {one.length_s:.1f} s")
