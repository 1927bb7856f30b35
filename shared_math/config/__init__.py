"""logger.json: reading, checking, explaining mistakes, filling in defaults; shared by device and PC.

Modules are loaded only when called: a device with a good file never loads the sentences, and one that shows a sentence
does not hold the checks at the same time.
"""

# Used if there is no usable logger.json: volts at every terminal and plain edge counts, without any meaning
_RAW_VOLTS = {"kind": "linear", "unit": "V", "volts": [0, 5.5], "values": [0, 5.5]}
_RAW_EDGES = {"kind": "frequency", "unit": "Hz", "hz": [0, 1000], "values": [0, 1000]}


def _raw(name, like):
    channel = {"name": "raw_" + name, "input": name}
    channel.update(like)
    return channel


DEFAULT = {
    "version": 1,
    "channels": [_raw("a%d" % at, _RAW_VOLTS) for at in range(5)] + [_raw("p%d" % at, _RAW_EDGES) for at in range(2)],
}


def load(text):
    """The configuration in `text` (str or UTF-8 bytes), unchecked. Raises ValueError with a sentence."""
    from shared_math.config import json_text

    config = json_text.parse(text)
    if not isinstance(config, dict):
        raise ValueError("it must be one object: { ... }")
    return config


def squeeze(text):
    """JSON bytes without white space between the parts; strings stay as they are."""
    from shared_math.config import json_text

    return json_text.squeeze(text)


def check(config):
    """All mistakes as a list of (code, where, detail); empty for a usable configuration. See `explain`."""
    from shared_math.config import check_channels, check_fuel, check_inputs, check_top, checker

    checker = checker.Checker()
    by_name = {}
    if check_top.check_top(checker, config):
        by_name = check_channels.check_channels(checker, config["channels"], config)
    if isinstance(config, dict):
        if "converters" in config:
            check_inputs.check_converters(checker, config["converters"])
        if "fuel" in config:
            check_fuel.check_fuel(checker, config["fuel"])
        if "target" in config:
            check_top.check_targets(checker, config["target"], by_name)
        if "bus" in config or [one for one in by_name.values() if one.get("kind") in ("obd", "can")]:
            from shared_math.config import check_bus

            check_bus.check_bus(checker, config, by_name)
        if "lean_warning" in config and by_name:
            check_top.check_lean_warning(checker, config, by_name)
    return checker.problems


def explain(problem):
    """(what is wrong, likely cause, what to do) of a mistake from check(), in plain words."""
    from shared_math.config import explanations

    return explanations.explain(problem)


def defaults(config):
    """A copy of a checked configuration with all defaults filled in; `config` itself is not changed."""
    from shared_math import channels, converters, judging, lean_watch, speed
    from shared_math.config import schema

    out = {"board": schema.BOARD, "rate_hz": schema.RATE_HZ, "engine": {}, "fuel": {"name": schema.FUEL_NAME}}
    out.update(_copy(config))
    out["engine"].setdefault("strokes", speed.STROKES)
    out.setdefault("converters", _copy(converters.USUAL))
    # without the key the warning is on if the channels allow it
    warning = out.setdefault("lean_warning", False if lean_watch.lacking(out) else {})
    if warning is not False:
        warning.setdefault("margin", judging.MARGIN)
        warning.setdefault("after_s", judging.AFTER_S)
        warning.setdefault("buzzer", False)
    for channel in out["channels"]:
        usual = schema.DEFAULTS.get(channel["kind"], {})
        for key in usual:
            channel.setdefault(key, usual[key])
        channel.setdefault("label", channel["name"].replace("_", " "))
        if "per_rev" in channel:
            channel.setdefault("max_rpm", speed.MAX_RPM)
        if "per_metre" in channel:
            channel.setdefault("max_kmh", speed.MAX_KMH)
    if channels.from_the_bus(out):
        from shared_math import bus

        bus.fill(out)
    return out


def _copy(value):
    if isinstance(value, dict):
        return {key: _copy(value[key]) for key in value}
    if isinstance(value, list):
        return [_copy(one) for one in value]
    return value
