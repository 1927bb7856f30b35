"""Checks the channels of a configuration: names, inputs, and the keys of each kind."""

from shared_math import channels as descriptions
from shared_math import converters
from shared_math.config import check_pulses, schema
from shared_math.config.check_inputs import check_input
from shared_math.config.checker import direction, meant, shown

_BEYOND_V = 0.5  # by which a check reaches beyond what it checks: grounds differ, and its end is no measurement
_LETTERS = "abcdefghijklmnopqrstuvwxyz"
_NAME = _LETTERS + "0123456789_"


def check_channels(checker, listed, config):
    """Check the list of channels; returns name -> channel of those that are {...} with a name, for the targets."""
    by_name = {}
    if not isinstance(listed, list):
        checker.bad("not_list", "channels", shown(listed))
        return by_name
    if not listed:
        checker.bad("no_channels", "channels")
    if len(listed) > schema.MOST_CHANNELS:
        checker.bad("many_channels", "channels", "%d (allowed: %d)" % (len(listed), schema.MOST_CHANNELS))
        return by_name
    inputs = {}
    columns = {}
    for at in range(len(listed)):
        channel = listed[at]
        where = "channel %d" % (at + 1)
        if not isinstance(channel, dict):
            checker.bad("not_object", where, shown(channel))
            continue
        if isinstance(channel.get("name"), str):
            where += " (%s)" % shown(channel["name"])
        _check_name(checker, channel, where, by_name)
        kind = _check_kind(checker, channel, where, config)
        if channel.get("kind") not in descriptions.BUS_KINDS:
            check_input(checker, channel, where, kind, inputs, config)
        if kind:
            _check_column(checker, channel, where, columns)
    checked = []
    for at in range(len(listed)):
        channel = listed[at]
        if isinstance(channel, dict):
            where = "channel %d (%s): " % (at + 1, shown(channel.get("name")))
            if channel.get("kind") == "thermocouple":
                _check_cold(checker, channel, where + "cold", by_name)
            elif channel.get("kind") == "linear" and isinstance(channel.get("checks"), str):
                _check_wire(checker, channel, where + "checks", by_name, checked, config)
    return by_name


def _check_cold(checker, channel, where, by_name):
    cold = channel.get("cold")
    if not isinstance(cold, str):
        return
    if "cold_degc" in channel:
        checker.bad("cold_two_ways", where)
    if cold not in by_name:
        checker.bad("channel_unknown", where, shown(cold))
        return
    other = by_name[cold]
    kind = other.get("kind")
    if kind == "thermocouple" or kind not in descriptions.ANALOG_KINDS or descriptions.unit_of(other) != "degC":
        checker.bad("cold_no_temperature", where, shown(cold))


def _check_wire(checker, channel, where, by_name, checked, config):
    """checked: names of the lambda channels that channels before this one check."""
    name = channel["checks"]
    if name not in by_name:
        checker.bad("channel_unknown", where, shown(name))
    elif by_name[name].get("kind") != "lambda":
        checker.bad("checks_no_lambda", where, shown(name))
    elif name in checked:
        checker.bad("checks_twice", where, shown(name))
    else:
        wire = checker.good(channel, "volts", schema.KINDS["linear"]["volts"])
        own = checker.good(by_name[name], "volts", schema.KINDS["lambda"]["volts"])
        if wire and own and (max(wire) < max(own) + _BEYOND_V or min(wire) > min(own) + _BEYOND_V):
            told = "%g to %g V, %g to %g V" % (min(wire), max(wire), min(own), max(own))
            checker.bad("checks_short", where, told)
        values = checker.good(by_name[name], "values", schema.KINDS["lambda"]["values"])
        if values and direction(values) == 0:
            checker.bad("checks_folded", where, shown(name))
        slow = [
            converters.part_of(config, one["input"] if isinstance(one.get("input"), str) and one["input"] else "a0")
            for one in (channel, by_name[name])
        ]
        if [part for part in slow if part in converters.NAMES and converters.slow(part)]:
            checker.bad("checks_slow", where)
    if descriptions.unit_of(channel) != "V":
        checker.bad("checks_not_volts", where, shown(descriptions.unit_of(channel)))
    checked.append(name)


def _check_name(checker, channel, where, by_name):
    name = channel.get("name")
    where += ": name"
    if name is None:
        checker.bad("missing_key", where)
    elif not isinstance(name, str):
        checker.bad("not_text", where, shown(name))
    elif not name or name[0] not in _LETTERS or len(name) > schema.LONGEST_NAME or any(c not in _NAME for c in name):
        checker.bad("bad_name", where, shown(name))
    elif name in schema.RESERVED:
        checker.bad("reserved_name", where, shown(name))
    elif name in by_name:
        checker.bad("name_twice", where, shown(name))
    else:
        by_name[name] = channel


def _check_column(checker, channel, where, columns):
    name = channel.get("name")
    unit = channel.get("unit", "")
    if isinstance(name, str) and isinstance(unit, str):
        names = [descriptions.column_name(channel)]
        if channel["kind"] == "pulse_width":
            names.append(descriptions.duty_name(channel))
        for column in names:
            if column in columns and columns[column] != name:
                checker.bad("column_twice", where, '"%s" and "%s" would both be %s' % (columns[column], name, column))
            columns[column] = name


def _check_kind(checker, channel, where, config):
    """Check the kind, and if it is known all keys of that kind."""
    kind = channel.get("kind")
    if kind is None:
        checker.bad("missing_key", where + ": kind")
    elif kind in descriptions.BUS_KINDS:
        from shared_math.config import check_bus

        check_bus.check_channel(checker, channel, where, kind)
        return kind
    elif not isinstance(kind, str) or kind not in schema.KINDS:
        kinds = sorted(list(schema.KINDS) + list(descriptions.BUS_KINDS))
        guess = meant(kind, kinds) if isinstance(kind, str) else None
        hint = '; did you mean "%s"?' % guess if guess else ""
        checker.bad("kind_unknown", where + ": kind", "%s (known: %s)%s" % (shown(kind), ", ".join(kinds), hint))
    else:
        _check_keys(checker, channel, where, kind)
        if kind in ("pulses", "frequency"):
            check_pulses.check_pulses(checker, channel, where, kind, config)
        if kind in ("lambda", "linear", "table"):
            _check_points(checker, channel, where, "volts")
        if kind == "frequency":
            _check_points(checker, channel, where, "hz")
        expected = checker.good(channel, "expect", schema.KINDS[kind]["expect"]) if kind == "linear" else None
        if expected and direction(expected) != 1:
            checker.bad("range_order", where + ": expect")
        if kind == "linear" and isinstance(channel.get("volts"), list) and len(channel["volts"]) > 2:
            checker.bad("linear_points", where + ": volts", str(len(channel["volts"])))
        if kind == "lambda":
            _check_lambda(checker, channel, where)
        if kind == "thermistor":
            _check_thermistor(checker, channel, where)
        _check_parts(checker, channel, where, schema.KINDS[kind])
        return kind
    return None


def _check_keys(checker, channel, where, kind):
    """Check the keys of a channel; keys of other kinds are reported as such."""
    allowed = schema.KINDS[kind]
    mine = {}
    for key in channel:
        homes = [one for one in sorted(schema.KINDS) if key in schema.KINDS[one]]
        if key not in allowed and homes:
            checker.bad("key_of_other_kind", "%s: %s" % (where, key), "%s, not %s" % (" or ".join(homes), kind))
        else:
            mine[key] = channel[key]
    checker.object(mine, where, allowed, schema.NEEDED[kind])


def _check_points(checker, channel, where, axis):
    rules = schema.KINDS[channel["kind"]]
    xs = checker.good(channel, axis, rules[axis])
    ys = checker.good(channel, "values", rules["values"])
    if xs and direction(xs) == 0:
        checker.bad("points_order", "%s: %s" % (where, axis))
    elif xs and min([abs(xs[at + 1] - xs[at]) for at in range(len(xs) - 1)]) < schema.LEAST_STEP:
        checker.bad("points_close", "%s: %s" % (where, axis), "%g" % schema.LEAST_STEP)
    if xs and ys:
        if len(xs) != len(ys):
            checker.bad("points_length", where, "%d in %s, %d in values" % (len(xs), axis, len(ys)))
        elif max(ys) - min(ys) < schema.LEAST_SPAN:
            checker.bad("values_flat", where + ": values")


def _check_lambda(checker, channel, where):
    values = checker.good(channel, "values", schema.KINDS["lambda"]["values"])
    afr = channel.get("scale") == "afr"
    stoich = checker.good(channel, "stoich", schema.KINDS["lambda"]["stoich"])
    if afr and "stoich" not in channel:
        checker.bad("stoich_missing", where + ": stoich")
    if not afr and "stoich" in channel:
        checker.bad("stoich_alone", where + ": stoich")
    if not values or (afr and not stoich):
        return
    if not afr and min(values) >= 4:
        checker.bad("lambda_looks_afr", where + ": values", "%s to %s" % (shown(min(values)), shown(max(values))))
        return
    if afr and max(values) < 4:
        checker.bad("afr_looks_lambda", where + ": values", "%s to %s" % (shown(min(values)), shown(max(values))))
        return
    scale = stoich if afr else 1
    if not (schema.LAMBDA_LEAST <= min(values) / scale and max(values) / scale <= schema.LAMBDA_MOST):
        detail = "%g to %g (allowed: %g to %g)" % (
            min(values) / scale,
            max(values) / scale,
            schema.LAMBDA_LEAST,
            schema.LAMBDA_MOST,
        )
        checker.bad("lambda_range", where + ": values", detail)


def _check_thermistor(checker, channel, where):
    ways = ("beta" in channel or "r25_ohm" in channel) + ("steinhart_hart" in channel) + ("points" in channel)
    if ways == 0:
        checker.bad("thermistor_no_curve", where)
    elif ways > 1:
        checker.bad("thermistor_two_curves", where)
    for key, other in (("beta", "r25_ohm"), ("r25_ohm", "beta")):
        if key in channel and other not in channel:
            checker.bad("missing_key", "%s: %s" % (where, other))
    points = channel.get("points")
    if points is None:
        return
    where += ": points"
    if not isinstance(points, list):
        checker.bad("not_list", where, shown(points))
    elif len(points) != 3:
        checker.bad("list_length", where, "%d (wanted: 3)" % len(points))
    elif all(checker.numbers(point, where, schema.POINT) for point in points):
        points = sorted(points)
        if min([ohm for _, ohm in points]) <= 0:
            checker.bad("thermistor_ohm", where)
        elif direction([degc for degc, _ in points]) != 1 or direction([ohm for _, ohm in points]) != -1:
            checker.bad("thermistor_points", where)


def _check_parts(checker, channel, where, allowed):
    """Check divider, calibration and states, if the kind allows them."""
    if "divider" not in allowed:
        return
    if "divider" in channel:
        checker.object(channel["divider"], where + ": divider", schema.DIVIDER, ("top_ohm", "bottom_ohm"))
    if "calibration" in channel:
        here = where + ": calibration"
        if checker.object(channel["calibration"], here, schema.CALIBRATION, ("counts", "volts")):
            for key in ("counts", "volts"):
                pair = checker.good(channel["calibration"], key, schema.CALIBRATION[key])
                if pair and abs(pair[0] - pair[1]) < schema.CALIBRATION_LEAST[key]:
                    checker.bad("calibration_same", "%s: %s" % (here, key))
    if "states" in channel:
        ends = checker.good(channel, "volts", allowed["volts"]) if "volts" in allowed else None
        _check_states(checker, channel["states"], where + ": states", ends)


def _check_states(checker, states, where, ends):
    """ends: the volts of the channel's values, or None."""
    if not isinstance(states, list):
        checker.bad("not_list", where, shown(states))
        return
    if not 1 <= len(states) <= schema.MOST_STATES:
        checker.bad("list_length", where, "%d (wanted: 1 to %d)" % (len(states), schema.MOST_STATES))
        return
    seen = []
    for at in range(len(states)):
        here = "%s, state %d" % (where, at + 1)
        state = states[at]
        if not checker.object(state, here, schema.STATE, ("name", "volts")):
            continue
        volts = checker.good(state, "volts", schema.STATE["volts"])
        if volts is None:
            continue
        if volts[0] >= volts[1]:
            checker.bad("state_order", here + ": volts")
            continue
        if ends and volts[0] <= min(ends) and max(ends) <= volts[1]:
            checker.bad("state_covers", here + ": volts")
        for other, low, high in seen:
            if volts[0] <= high and low <= volts[1]:
                checker.bad("state_overlap", here + ": volts", shown(other))
        seen.append((state.get("name"), volts[0], volts[1]))
