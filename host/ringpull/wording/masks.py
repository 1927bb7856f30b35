"""The masks' names and rules, as shown to people."""

from __future__ import annotations

from ringpull.analysis.drive_state import overrun
from ringpull.analysis.judge.masks import (
    AFTER_CHANGE_S,
    COLD_DEGC,
    DROP_RPM_S,
    RECOVERY_S,
    REFILL_S,
    SPOOL_S,
    TIP_IN_KPA,
    TIP_IN_PCT,
    TIP_IN_S,
    TIP_IN_WINDOW_S,
)
from ringpull.said import degc, kpa, say

RULES = {
    "warm_up": say("the controller reports that its sensor is heating, or coolant is below ", degc(COLD_DEGC)),
    "controller_state": say(
        "the controller's output is in a configured state, outside the sensor's range, or contradicted: no lambda"
    ),
    "electrical": say("the output moved faster than gas and sensor can: a spike, a loose plug or two wires touching"),
    "overrun_cut": say(
        f"above {overrun.OVERRUN_RPM:.0f} rpm, throttle below {overrun.CLOSED_PCT:.0f} % or less than "
        f"{overrun.REST_PCT:.0f} % above its position at idle (without throttle: manifold pressure below ",
        kpa(overrun.OVERRUN_KPA),
        f"), and {RECOVERY_S:.1f} s after that: the fuel may be cut",
    ),
    "tip_in": say(
        f"throttle opened by more than {TIP_IN_PCT:.0f} % within {TIP_IN_WINDOW_S:.1f} s (without throttle: pressure "
        "rose by more than ",
        kpa(TIP_IN_KPA),
        f"; without both: {SPOOL_S:.1f} s of rising speed), and {TIP_IN_S:.1f} s after that: enrichment and wall film, "
        "not the table, set the mixture",
    ),
    "gear_change": say(
        f"engine speed falling by more than {DROP_RPM_S:.0f} rpm a second with load soon after, and "
        f"{AFTER_CHANGE_S:.1f} s after that"
    ),
    "coasting": say(
        f"engine speed falling by more than {DROP_RPM_S:.0f} rpm a second without load after it, and "
        f"{AFTER_CHANGE_S:.1f} s after that"
    ),
    "lift": say(
        f"throttle closed by more than {overrun.LIFT_PCT:.0f} % within {overrun.LIFT_S:.1f} s, pressure falling with "
        f"it, and {RECOVERY_S:.1f} s after that: the fuel may be cut; where it opens again in the same gear, "
        f"{REFILL_S:.1f} s after that, since wall film sets the mixture"
    ),
    "not_recorded": say(
        "rows that the logger lost: the gap itself, and the moments whose gas reached the sensor during the gap"
    ),
    "tach_loss": say("no engine speed: pulses are missing or were rejected"),
    "delay_assumed": say(
        "the delay is only assumed, and the throttle may have closed before this row's gas reached the sensor: the "
        "reading may belong to the moments after the pull"
    ),
    "no_target": say("no target: the load or the channel that it depends on has no valid value"),
    "saturation": say("lambda at an end of the sensor's range: a limit, not a measurement (the lean end still counts)"),
    "spoiled": say("the pull was flagged spoiled by a double press, or left out by the reader of the report"),
}


def title(mask: str) -> str:
    """A mask's name as shown to people."""
    known = {
        "warm_up": "warm-up",
        "controller_state": "no valid lambda",
        "tip_in": "tip-in",
        "saturation": "sensor at an end of its range",
        "delay_assumed": "delay only assumed",
        "lift": "throttle lifted",
    }
    return known.get(mask, mask.replace("_", " "))
