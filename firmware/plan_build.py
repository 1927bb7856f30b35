"""Works out the plan. The modules that this takes are given back before the recording begins, this one too: their floats,
tables and sentences would take a quarter of a small board's heap.
"""

import settings
from plan import Plan
from shared_math import layout, lean_watch

_CLOSED_PCT = 12  # throttle below this is closed
_HEAVY = ("channels", "converters", "target", "transfer", "whole_build")


def make(board):
    """The Plan for this board and the logger.json that it finds."""
    from shared_math import channels

    plan = Plan(*settings.read(board.read_config()))
    config = plan.config
    board.configure(config)
    plan.table = channels.columns(config, board.converter)
    plan.throttle = _throttle(plan)
    plan.supply = _supply(plan, channels.supply_of(config))
    plan.frame = board.screen() if plan.words is not None else None
    plan.warns = config["lean_warning"] is not False
    if plan.warns or plan.frame is not None:
        _make_live(plan)
    settings.forget(_HEAVY)
    settings.forget(("plan_build", "settings"), None)
    return plan


def _make_live(plan):
    from panel import live_build

    config = plan.config
    plan.live = live_build.make(config, plan.table, plan.throttle)
    if not lean_watch.lacking(config):
        warm = [len(sensor[2].names) > 0 for sensor in plan.live.sensors]
        given = config["lean_warning"] or {"margin": lean_watch.MARGIN, "after_s": lean_watch.AFTER_S}
        in_kpa = plan.live.unit == "kPa"
        plan.watch = lean_watch.LeanWatch(len(warm), given["margin"], given["after_s"], in_kpa, warm)
    settings.forget(("live_build",), "panel")


def _at(plan, name):
    """Place of the column called `name`."""
    return [column["n"] for column in plan.table].index(name)


def _counts(plan, channel, value):
    """Counts of a linear channel at a value; a fraction."""
    (v0, v1), (low, high) = channel["volts"], channel["values"]
    column = plan.table[_at(plan, channel["name"])]
    return (v0 + (value - low) * (v1 - v0) / (high - low) - column["o"]) / column["s"]


def _throttle(plan):
    for channel in plan.config["channels"]:
        if channel["name"] == "throttle" and channel["kind"] == "linear":
            (v0, v1), (low, high) = channel["volts"], channel["values"]
            if (v1 - v0) * (high - low) <= 0:
                return None
            return _at(plan, "throttle") + 1, int(_counts(plan, channel, _CLOSED_PCT))
    return None


def _supply(plan, channel):
    if channel is None:
        return None
    dip, back = [int(_counts(plan, channel, volts)) for volts in (layout.DIP_V, layout.SUPPLY_BACK_V)]
    return _at(plan, channel["name"]) + 1, dip, back
