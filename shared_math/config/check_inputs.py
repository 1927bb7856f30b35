"""Checks the input of a channel, and the external converters that some inputs belong to."""

from shared_math import converters
from shared_math.config import schema
from shared_math.config.checker import shown


def check_converters(checker, fitted):
    """Check `converters` of the configuration: {"x": part, "y": part}."""
    if not checker.object(fitted, "converters", schema.CONVERTERS):
        return
    if not fitted:
        checker.bad("no_converters", "converters")


def check_input(checker, channel, where, kind, used, config):
    """Check the channel's `input`. used: input -> the channel that already uses it."""
    name = channel.get("input")
    where += ": input"
    if name is None:
        checker.bad("missing_key", where)
        return
    if not isinstance(name, str):
        checker.bad("not_text", where, shown(name))
        return
    parsed = converters.parse(name)
    if parsed is None:
        checker.bad("bad_input", where, shown(name))
    elif name in used:
        checker.bad("input_twice", where, "%s, also of %s" % (shown(name), used[name]))
    else:
        used[name] = where[: -len(": input")]
        letters = schema.INPUT_LETTERS.get(kind, "a" + converters.LETTERS)
        if kind and name[0] not in letters:
            wanted = '" or "'.join(letters)
            checker.bad("input_kind", where, '%s (wanted: one that begins with "%s")' % (shown(name), wanted))
        elif name[0] in converters.LETTERS:
            _check_converter_input(checker, name, parsed, where, config)


def _check_converter_input(checker, name, parsed, where, config):
    letter, plus, minus = parsed
    if not isinstance(config.get("converters", {}), dict):
        return
    part = converters.part_of(config, name)
    if part is None:
        checker.bad("converter_missing", where, '%s, and converters names no "%s"' % (shown(name), letter))
    elif part not in converters.NAMES:
        return
    elif max(plus, minus or 0) >= converters.inputs(part):
        detail = "%s, and an %s has %s0 to %s%d" % (shown(name), part, letter, letter, converters.inputs(part) - 1)
        checker.bad("converter_input", where, detail)
    elif minus is not None and "%d-%d" % (plus, minus) not in converters.differences(part):
        can = [letter + pair.replace("-", "-" + letter) for pair in converters.differences(part)]
        checker.bad("converter_pair", where, "%s (%s: %s)" % (shown(name), part, ", ".join(can) or "none"))
