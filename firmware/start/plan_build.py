"""Works out the plan. The modules that this takes are given back before the recording begins, this one too: their
floats, tables and sentences would take a quarter of a small board's heap.
"""

from shared_math import judging, layout, lean_watch
from shared_math.compat import const
from start import settings
from start.plan import Plan

_CLOSED_PCT = 12  # throttle below this is closed
_PARTS = const(1 << 27)  # of the widest range of a pair; three such together are below 2^30
_HEAVY = ("channels", "converters", "target", "transfer", "whole_numbers_build", "bus", "obd")


def make(board):
    """The Plan for this board and the logger.json that it finds."""
    from shared_math import channels

    given = settings.read(board.read_config(), board.raw)
    config, words = given[0], given[4]
    board.configure(config)
    table = channels.columns(config, board.converter)
    throttle = _throttle(config, table)
    supply = _supply(channels.supply_of(config), table)
    expected = _expected(config, table), _pairs(config, table)
    frame = board.screen() if words is not None else None
    live = watch = None
    if frame is not None or config["lean_warning"] is not False:
        live, watch = _live(config, table, throttle)
    bus = None
    if channels.from_the_bus(config):
        from bus import build

        bus = build.make(config)
    settings.forget(_HEAVY)
    settings.forget(("pin_table",), "boards")
    settings.forget(("plan_build", "settings"), "start")
    if bus:
        settings.forget(("build",), "bus")
        bus.load()
    return Plan(given, table, throttle, supply, expected, frame, live, watch, bus)


def _live(config, table, throttle):
    """(panel.live.Live, LeanWatch or None)."""
    from panel import live_build

    live = live_build.make(config, table, throttle)
    watch = None
    if not lean_watch.lacking(config):
        sensors = lean_watch.sensors(config["channels"])
        warm = [judging.HEATING in [judging.meaning(s) for s in one.get("states", ())] for one in sensors]
        given = config["lean_warning"] or {"margin": judging.MARGIN, "after_s": judging.AFTER_S}
        watch = lean_watch.LeanWatch(
            len(warm), given["margin"], given["after_s"], live.unit == "kPa", warm, throttle is not None
        )
    settings.forget(("live_build",), "panel")
    return live, watch


def _at(table, name):
    """Place of the column called `name`."""
    return [column["n"] for column in table].index(name)


def _counts(table, channel, value):
    """Counts of a linear channel at a value; a fraction."""
    (v0, v1), (low, high) = channel["volts"], channel["values"]
    column = table[_at(table, channel["name"])]
    return (v0 + (value - low) * (v1 - v0) / (high - low) - column["o"]) / column["s"]


def _throttle(config, table):
    for channel in config["channels"]:
        if channel["name"] == "throttle" and channel["kind"] == "linear":
            limit = int(_counts(table, channel, _CLOSED_PCT))
            wide = int(_counts(table, channel, judging.LOADED_PCT))
            at = _at(table, "throttle")
            most = (1 << table[at]["b"]) - 1
            if _counts(table, channel, 0) < limit:
                return at + 1, 0, limit - 1, wide, most
            return at + 1, limit + 1, most, 0, wide  # a sensor whose volts fall as it opens
    return None


def _expected(config, table):
    out = []
    for channel in config["channels"]:
        if "expect" in channel:
            low, high = sorted([int(_counts(table, channel, value)) for value in channel["expect"]])
            out.append((_at(table, channel["name"]) + 1, low, high))
    return out


def _pairs(config, table):
    """Of each wire that two inputs measure: the check channel first, then lambda."""
    from shared_math import transfer

    out = []
    by_name = {channel["name"]: channel for channel in config["channels"]}
    for channel in config["channels"]:
        if "checks" in channel:
            two = channel, by_name[channel["checks"]]
            columns = [table[_at(table, one["name"])] for one in two]
            # The smallest parts of a volt with which every product of the look stays a small integer
            parts_v = _PARTS / max([abs(one["s"]) * (1 << one["b"]) + abs(one["o"]) for one in columns])
            sides = []
            for one, column, slack in zip(two, columns, (transfer.TOLERANCE, -transfer.RAIL)):
                least, most = min(one["volts"]), max(one["volts"])
                slack *= most - least
                ends = [int((volts - column["o"]) / column["s"]) for volts in (least - slack, most + slack)]
                parts = int(column["s"] * parts_v + (0.5 if column["s"] > 0 else -0.5))
                sides.append((_at(table, one["name"]) + 1, min(ends), max(ends), parts))
            above = int((columns[0]["o"] - columns[1]["o"]) * parts_v)
            below, over = [int(volts * parts_v) for volts in (judging.WIRE_BELOW_V, judging.WIRE_ABOVE_V)]
            out.append((sides[0], sides[1], above, -below, over))
    return out


def _supply(channel, table):
    if channel is None:
        return None
    dip, back = [int(_counts(table, channel, volts)) for volts in (layout.DIP_V, layout.SUPPLY_BACK_V)]
    return _at(table, channel["name"]) + 1, dip, back
