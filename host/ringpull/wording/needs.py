"""The sentences about missing channels."""

from __future__ import annotations

from collections.abc import Iterable

from ringpull.analysis.judge import needs
from ringpull.said import Said, kpa, say

ROLES = {
    "rpm": "engine speed",
    "rpm or wheel": "engine or wheel speed",
    "map": "manifold pressure",
    "load": "manifold pressure or throttle",
    needs.LAMBDA_HEATING: "lambda (its controller reported that the sensor was heating)",
    needs.TARGET_LOAD: "the load (or channel) that the target depends on (a target of one number needs none)",
}

WITHOUT = {
    (needs.LEAN_EVENTS, "map"): say(
        "without manifold pressure the exhaust flow is calculated for ", kpa(90), ", so the delay is less certain"
    ),
    (needs.LEAN_EVENTS, "throttle"): say(
        "without throttle, load is judged from manifold pressure; without both, from rising engine speed"
    ),
    (needs.LEAN_EVENTS, "target"): say(
        "without a target, the usual full-throttle value for fuel and aspiration is used (common practice, no source)"
    ),
    (needs.LEAN_EVENTS, "coolant"): say("without coolant temperature, a cold engine is judged like a warm one"),
    (needs.DELAY, "injector or commanded"): say(
        "without injector time or commanded lambda, the delay is counted from the throttle (else from manifold "
        "pressure) and is an estimate"
    ),
    (needs.DELAY, "throttle"): say(
        "without throttle, fuel cuts are recognised by injector time, commanded lambda or deep vacuum"
    ),
    (needs.FUEL_MAP, "trim"): say(
        "without logged trims, a correction that the engine computer already makes stays hidden in the ratio"
    ),
    (needs.COMPARE, "load"): say("without a load channel, drives are compared by engine speed alone"),
    (needs.POWER, "wheel"): say("without wheel speed, the gear must be given or known from `gears`"),
    (needs.POWER, "grade"): say("without the road's slope, the interval is wider to allow for one"),
    (needs.MOVED, "fuel_pressure"): say(
        "fuel pressure is not logged, or has no value, so a weak pump or a blocked filter can't be recognised"
    ),
    (needs.MOVED, "injector"): say(
        "injector time is not logged, or has no value, so injectors at their limit can't be recognised"
    ),
    (needs.MOVED, "battery"): say(
        "supply voltage is not logged, or has no value, so a weak supply can't be recognised"
    ),
}


def lacking(roles: Iterable[str]) -> Said:
    """The sentence about roles that an answer needs and that are missing."""
    return say(f"not logged, or never valid: {', '.join(ROLES.get(role, role) for role in roles)}")


def table() -> list[tuple[str, str, str]]:
    """(answer, channels it needs, what it lacks without the others) for each answer, for the documents."""
    musts = [", ".join(ROLES.get(role, role) for role in n.must) for n in needs.NEEDS]
    betters = ["; ".join(WITHOUT[n.answer, role] for role in n.better) for n in needs.NEEDS]
    return [(n.answer, must, better) for n, must, better in zip(needs.NEEDS, musts, betters, strict=True)]
