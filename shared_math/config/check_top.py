"""Checks the rest of a configuration, beside its channels: version, engine, vehicle, lambda targets."""

from shared_math import lean_watch
from shared_math.config import schema
from shared_math.config.checker import direction, shown


def check_vehicle(checker, vehicle):
    if not checker.object(vehicle, "vehicle", schema.VEHICLE):
        return
    gears = checker.good(vehicle, "gears", schema.VEHICLE["gears"])
    if gears and len(gears) > 1 and direction(gears) != -1:
        checker.bad("gears_order", "vehicle: gears")


def check_top(checker, config):
    """Check everything except the channels; returns whether the channels can be checked."""
    if not checker.object(config, "", schema.TOP, schema.TOP_NEEDED):
        return False
    if "version" in config:
        version = config["version"]
        if type(version) is bool or not isinstance(version, int) or version < 1:
            checker.bad("bad_version", "version", shown(version))
        elif version > schema.VERSION:
            checker.bad("newer_version", "version", shown(version))
    if "engine" in config:
        checker.object(config["engine"], "engine", schema.ENGINE)
    if "vehicle" in config:
        check_vehicle(checker, config["vehicle"])
    return "channels" in config


def check_lean_warning(checker, config, channels):
    """Check what the warning needs beside its own keys. channels: name -> channel."""
    given = config["lean_warning"]
    if given is False:
        return
    if not checker.object(given, "lean_warning", schema.LEAN_WARNING):
        return
    one_of = {"channels": list(channels.values()), "target": config.get("target")}
    try:
        missing = lean_watch.lacking(one_of)
    except (AttributeError, KeyError, TypeError):
        return  # a channel or the target is incomplete, which is already reported
    if "lambda" in missing:
        checker.bad("lean_no_lambda", "lean_warning")
    if "speed" in missing:
        checker.bad("lean_no_speed", "lean_warning")
    if "load" in missing:
        checker.bad("lean_no_load", "lean_warning")


def check_targets(checker, target, channels):
    """Check the target. target: one {...}, or a list in which the first with a true `when` counts. channels: by
    name."""
    if not isinstance(target, list):
        _check_target(checker, target, "target", channels, False)
        return
    if not 1 <= len(target) <= schema.MOST_TARGETS:
        checker.bad("list_length", "target", "%d (wanted: 1 to %d)" % (len(target), schema.MOST_TARGETS))
        return
    for at in range(len(target)):
        where = "target %d" % (at + 1)
        _check_target(checker, target[at], where, channels, True)
        if at < len(target) - 1 and isinstance(target[at], dict) and "when" not in target[at]:
            checker.bad("target_unreachable", where)


def _check_target(checker, target, where, channels, in_list):
    if not checker.object(target, where, schema.TARGET, ("lambda",)):
        return
    axis = None
    for key in schema.LOAD_UNIT:
        if key in target:
            if axis:
                checker.bad("target_two_loads", where)
            axis = key
    if axis is None and ("load" in target or "rpm" in target):
        checker.bad("target_no_axis", where)
    if axis:
        if "load" not in target:
            checker.bad("missing_key", where + ": load")
        else:
            _check_load(checker, target["load"], where + ": load", schema.LOAD_UNIT[axis], channels)
    for key in (axis, "rpm"):
        points = checker.good(target, key, schema.TARGET[key]) if key else None
        if points and direction(points) != 1:
            checker.bad("target_order", where + ": " + key)
    if "lambda" in target:
        _check_lambda(checker, target, where + ": lambda", axis)
    if "when" in target:
        if in_list:
            _check_when(checker, target["when"], where + ": when", channels)
        else:
            checker.bad("when_alone", where + ": when")


def _check_load(checker, name, where, unit, channels):
    if not isinstance(name, str):
        return
    if name not in channels:
        checker.bad("channel_unknown", where, shown(name))
    elif channels[name].get("unit") != unit:
        checker.bad("target_load_unit", where, '%s (wanted: "%s")' % (shown(channels[name].get("unit", "")), unit))


def _check_lambda(checker, target, where, axis):
    value = target["lambda"]
    _, least, most = schema.TARGET_LAMBDA
    if axis is None:
        if isinstance(value, list) and "load" not in target and "rpm" not in target:
            checker.bad("target_no_axis", where)
        elif not isinstance(value, list):
            checker.number(value, where, least, most)
        return
    if not isinstance(target[axis], list):
        return
    loads = len(target[axis])
    if "rpm" not in target:
        checker.numbers(value, where, ("numbers", loads, loads, least, most))
        return
    if not isinstance(target["rpm"], list):
        return
    if not isinstance(value, list):
        checker.bad("not_list", where, shown(value))
    elif len(value) != len(target["rpm"]):
        checker.bad("target_rows", where, "%d rows for %d speeds" % (len(value), len(target["rpm"])))
    else:
        for row in value:
            checker.numbers(row, where, ("numbers", loads, loads, least, most))


def _check_when(checker, when, where, channels):
    if not checker.object(when, where, schema.WHEN, ("channel", "is")):
        return
    name = when.get("channel")
    if isinstance(name, str) and name not in channels:
        checker.bad("channel_unknown", where + ": channel", shown(name))
    state = when.get("is", 0)
    if isinstance(state, str):
        if isinstance(name, str) and name in channels:
            states = channels[name].get("states")
            names = [one.get("name") for one in states if isinstance(one, dict)] if isinstance(states, list) else []
            if state not in names:
                checker.bad("state_unknown", where + ": is", shown(state))
    elif isinstance(state, list):
        if checker.numbers(state, where + ": is", ("numbers", 2, 2, -1e6, 1e6)) and direction(state) != 1:
            checker.bad("range_order", where + ": is")
    else:
        checker.number(state, where + ": is", -1e6, 1e6)
