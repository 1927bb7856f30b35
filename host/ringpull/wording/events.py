"""Lean events, what moved with them, and other events, as sentences."""

from __future__ import annotations

from ringpull.analysis.judge.hints import Hint
from ringpull.analysis.judge.lean_events import LEAST_DEPTH, LEAST_S, SIGMAS, WINDOW_S, LeanEvent
from ringpull.analysis.judge.other_events import OtherEvent
from ringpull.said import Figure, Said, degc, kpa, lam, say

CAUSE, RESULT = "possible cause", "possible consequence"

RULE = say(
    f"mean lambda over {WINDOW_S:.1f} s above target by more than ",
    lam(LEAST_DEPTH),
    f" and by more than {SIGMAS:.0f} times its random standard uncertainty, under load, for at least {LEAST_S:.2f} s",
)


def at_load(low: float, high: float, unit: str) -> Said:
    """A range of loads with its unit."""
    if unit == "kPa":
        return say(Figure(low, "load", 0), "-", kpa(high))
    return say(f"{low:.0f}-{high:.0f} {unit}".rstrip())


def event(one: LeanEvent) -> Said:
    """One lean event."""
    load = ()
    if one.load_from is not None and one.load_to is not None:
        load = (", load ", at_load(one.load_from, one.load_to, one.load_unit))
    return say(
        f"lean by {'at least ' if one.bound else ''}",
        lam(one.depth),
        " +/- ",
        lam(one.depth_u),
        " (random), +/- ",
        lam(one.systematic_u),
        f" (systematic) at {one.deepest_rpm:.0f} rpm ({one.rpm_from:.0f}-{one.rpm_to:.0f} rpm",
        *load,
        f"), for {one.length_s:.2f} s{'' if one.bank is None else ', on ' + one.bank}",
    )


def hint(one: Hint) -> Said:
    """What moved with a lean event: a possibility, never a verdict."""
    if one.kind in ("moved", "low"):
        return _moved(one)
    if one.kind == "duty":
        return say(f"{CAUSE}: injector duty reached {one.size:.0%}, a limit in sight")
    if one.kind == "boost":
        return say(f"{CAUSE}: boost ", kpa(one.size), " above its target")
    if one.kind == "limiter":
        return say(
            f"{CAUSE}: engine speed stood at {one.size:.0f} rpm, the highest of the drive: a limiter that cuts fuel"
        )
    return say(
        f"{CAUSE}: lambda stood at the lean end of its range all along: the sensor hangs in air, or a wire is off"
    )


def _moved(one: Hint) -> Said:
    low = one.kind == "low"
    if one.role == "fuel_pressure":
        was = ("was ", kpa(one.size), " below its base") if low else ("fell by ", kpa(one.size))
        return say(f"{CAUSE}: fuel pressure over the manifold ", *was)
    if one.role == "battery":
        was = f"was {one.size:.1f} V below its base" if low else f"fell by {one.size:.1f} V"
        return say(f"{CAUSE}: supply voltage {was}, which opens injectors later")
    if one.role == "intake":
        return say(f"{CAUSE}: intake air warmed by ", degc(one.size, change=True))
    if one.role == "trim":
        return say(f"{CAUSE}: the fuel trim fell by {one.size:.0f} %")
    if one.role == "exhaust":
        return say(f"{RESULT}: exhaust gas warmed by ", degc(one.size, change=True))
    return say(f"{RESULT}: the knock channel rose")


def other(one: OtherEvent) -> Said:
    """An event that is not lean."""
    if one.kind == "rich":
        return say("rich by ", lam(one.size), f" for {one.length_s:.2f} s")
    if one.kind == "oscillation":
        return say("lambda swings by +/- ", lam(one.size), f" at {one.hz:.1f} Hz")
    if one.kind == "boost overshoot":
        return say("boost overshot by ", kpa(one.size))
    return say("boost crept up by ", kpa(one.size), f" over {one.length_s:.1f} s")
