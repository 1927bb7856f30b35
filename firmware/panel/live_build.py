"""Builds panel.live.Live from the configuration. Needed once, at the start."""

from panel import live
from shared_math import lean_watch, speed, whole_numbers, whole_numbers_build

_AGE_MOST = (1 << 20) - 1
_COUNT_MASK = (1 << 24) - 1
_KEPT = 16  # looks that an engine cycle is sought in
_OTHER_EDGES = 4
_FINE_HZ = 0.6  # "pulses a turn" that make LiveSpeed tell hundredths of a hertz
_FINE_KMH = 0.6  # and, dividing pulses a metre, tenths of km/h
_SHOWN = ("map", "manifold_pressure", "throttle")  # shown as load where no target names one


def make(config, table, throttle):
    """table: the columns as in the setup. throttle: as in plan.py."""
    places = {}
    for at in range(len(table)):
        places[table[at]["n"]] = at
    named = {one["name"]: one for one in config["channels"]}
    sensors = [_analog(one, table, places, whole_numbers.MILLI) for one in lean_watch.sensors(config["channels"])]
    speeds = []
    for one in config["channels"]:
        if one["kind"] == "pulses" and "per_rev" in one:
            edges = -int(-speed.edges_per_cycle(config["engine"], one["per_rev"]) // 1)
            speeds.append(_speed(one, one["per_rev"], edges, config, places))
            break
    entries = lean_watch.entries(config.get("target"))
    names = [one["load"] for one in entries if "load" in one]
    names += [name for name in _SHOWN if name in named]
    unit = ""
    loads = {}
    for name in names:
        one = named[name]
        if one["kind"] in ("linear", "table") and (not unit or one["unit"] == unit):
            unit = one["unit"]
            loads[name] = _analog(one, table, places, whole_numbers.TENTH)
    shown = names[0] if names and names[0] in loads else None
    manifold = None
    for name in _SHOWN[:2]:
        one = named.get(name)
        if unit != "kPa" and one and one["kind"] in ("linear", "table") and one["unit"] == "kPa":
            manifold = _analog(one, table, places, whole_numbers.TENTH)
    wants = [whole_numbers_build.wanted(one) for one in entries]
    has_engine = len(speeds) > 0
    conditions = None
    if [one for one in entries if "when" in one]:
        from panel import conditions as module

        conditions = module.Conditions(config["target"], wants, named, table, places)
        if has_engine:
            conditions.minute_us = 60000000 if config["engine"]["strokes"] == 2 else 120000000
        for one in conditions.channels:
            if one["kind"] == "frequency":
                conditions.speeds[one["name"]] = len(speeds)
                speeds.append(_speed(one, _FINE_HZ, _OTHER_EDGES, config, places))
            elif "per_metre" in one:
                conditions.speeds[one["name"]] = len(speeds)
                speeds.append(_speed(one, one["per_metre"] / _FINE_KMH, _OTHER_EDGES, config, places))
    want = wants[0] if wants and conditions is None else None
    shows = tuple(sensors), tuple(speeds), has_engine, loads, shown, unit
    return live.Live(*shows, want, conditions, throttle, manifold)


def _analog(channel, table, places, scale):
    """(column + 1, 1 + column of its age or 0, Reading)."""
    at = places[channel["name"]]
    return at + 1, places.get(channel["name"] + ".held", -1) + 1, whole_numbers_build.reading(channel, table[at], scale)


def _speed(channel, per_rev, edges, config, places):
    """(LiveSpeed, column + 1, channel)."""
    period_us = 1000000 // config["rate_hz"]
    made = speed.LiveSpeed(per_rev, edges, period_us, _COUNT_MASK, _AGE_MOST, _KEPT)
    return made, places[channel["name"]] + 1, channel
