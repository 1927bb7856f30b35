"""Names and rules of the masks, as people read them."""

from __future__ import annotations

from ringpull.analysis.drive_state import overrun
from ringpull.analysis.judge.masks import (
    AFTER_CHANGE_S,
    COLD_DEGC,
    DROP_RPM_S,
    RECOVERY_S,
    SPOOL_S,
    TIP_IN_KPA,
    TIP_IN_PCT,
    TIP_IN_S,
    TIP_IN_WINDOW_S,
)
from ringpull.said import degc, kpa, say

RULES = {
    "warm_up": say("the controller says that its sensor is heating, or coolant below ", degc(COLD_DEGC)),
    "controller_state": say(
        "the controller's output is in a configured state or outside the sensor's range: no lambda"
    ),
    "electrical": say(
        "the output moved faster than gas and sensor can: a spike, a loose plug, or a wire that touches another"
    ),
    "overrun_cut": say(
        f"throttle below {overrun.CLOSED_PCT:.0f} %, or {overrun.REST_PCT:.0f} % above where it rests at idle (without "
        "it, manifold pressure below ",
        kpa(overrun.OVERRUN_KPA),
        f") above {overrun.OVERRUN_RPM:.0f} rpm, and {RECOVERY_S:.1f} s after it ends: the fuel may be cut",
    ),
    "tip_in": say(
        f"throttle opened by more than {TIP_IN_PCT:.0f} % within {TIP_IN_WINDOW_S:.1f} s (without throttle, pressure "
        "up "
        "by more than ",
        kpa(TIP_IN_KPA),
        f"; without both, {SPOOL_S:.1f} s of rising speed), and {TIP_IN_S:.1f} s after: enrichment and wall film are "
        "not "
        "the table's",
    ),
    "gear_change": say(
        f"engine speed falling by more than {DROP_RPM_S:.0f} rpm a second, and {AFTER_CHANGE_S:.1f} s after"
    ),
    "not_recorded": say(
        "rows that the logger lost: a gap in the drive, and the moments whose gas met the sensor in it"
    ),
    "tach_loss": say("no engine speed: its edges are missing or were rejected"),
    "delay_assumed": say(
        "the delay is only assumed, and the load may have been off when the row's gas met the sensor: what was "
        "measured "
        "may belong to what came after the pull"
    ),
    "no_target": say("the target can't be told: the load or the channel that it depends on isn't known"),
    "saturation": say("lambda at an end of the sensor's range: a bound, not a measurement (a lean end still counts)"),
    "spoiled": say("the pull was flagged spoiled by a double press, or left out by the reader"),
}


def title(mask: str) -> str:
    """A mask's name as people write it."""
    known = {
        "warm_up": "warm-up",
        "tip_in": "tip-in",
        "saturation": "sensor at an end of its range",
        "delay_assumed": "delay only assumed",
    }
    return known.get(mask, mask.replace("_", " "))
