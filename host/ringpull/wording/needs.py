"""What is said where a channel is missing."""

from __future__ import annotations

from collections.abc import Iterable

from ringpull.analysis.judge import needs
from ringpull.said import Said, kpa, say

ROLES = {
    "rpm": "engine speed",
    "rpm or wheel": "engine or wheel speed",
    "map": "manifold pressure",
    "load": "manifold pressure or throttle",
    needs.LAMBDA_HEATING: "lambda (its controller said that the sensor was heating)",
    needs.TARGET_LOAD: "the load (or channel) that the target depends on: one number as target needs none",
}

WITHOUT = {
    (needs.LEAN_EVENTS, "map"): say(
        "without manifold pressure the exhaust flow is computed for ", kpa(90), ", so the delay is less certain"
    ),
    (needs.LEAN_EVENTS, "throttle"): say(
        "without throttle, load is told from manifold pressure; without both, from rising engine speed"
    ),
    (needs.LEAN_EVENTS, "target"): say(
        "without a target a full-throttle value by fuel and aspiration is used (common practice, no source)"
    ),
    (needs.LEAN_EVENTS, "coolant"): say("without coolant temperature a cold engine is not left out"),
    (needs.DELAY, "injector or commanded"): say(
        "without injector time or commanded lambda, time zero is the throttle (else manifold pressure) and the delay "
        "found is an upper bound"
    ),
    (needs.DELAY, "throttle"): say(
        "without throttle, fuel cuts are told from injector time, commanded lambda or deep vacuum"
    ),
    (needs.FUEL_MAP, "trim"): say(
        "without trims logged, a correction the engine computer already makes stays hidden in the ratio"
    ),
    (needs.COMPARE, "load"): say("without a load channel bins are by engine speed alone"),
    (needs.POWER, "wheel"): say("without wheel speed the gear must be given or known from `gears`"),
    (needs.POWER, "grade"): say("without the grade, the interval is wider by what a road may rise"),
    (needs.MOVED, "fuel_pressure"): say(
        "fuel pressure is not logged, so a tired pump or a blocked filter can't be named"
    ),
    (needs.MOVED, "injector"): say("injector time is not logged, so a duty limit can't be named"),
    (needs.MOVED, "battery"): say("supply voltage is not logged, so a weak supply can't be named"),
}


def lacking(roles: Iterable[str]) -> Said:
    """What is said of roles that an answer can't do without."""
    return say(f"not logged, or never valid: {', '.join(ROLES.get(role, role) for role in roles)}")


def table() -> list[tuple[str, str, str]]:
    """(answer, needs, without the rest) for the docs."""
    musts = [", ".join(ROLES.get(role, role) for role in n.must) for n in needs.NEEDS]
    betters = ["; ".join(WITHOUT[n.answer, role] for role in n.better) for n in needs.NEEDS]
    return [(n.answer, must, better) for n, must, better in zip(needs.NEEDS, musts, betters, strict=True)]
