"""Checks a configuration against config_schema.py; every mistake found is (code, where, detail).

Sentences for the codes are in config_words.py, which a device loads only when it must show one.
"""

import math

from shared_math import config_schema as schema
from shared_math import mixture


def shown(value):
    """How a wrong value stands in a sentence, short."""
    if type(value) is int and not -1000000000000 < value < 1000000000000:
        return "a huge number"
    if isinstance(value, (dict, list)):
        return "{...}" if isinstance(value, dict) else "[...]"
    if value is None or type(value) is bool:
        return {None: "null", True: "true", False: "false"}[value]
    text = '"%s"' % value if isinstance(value, str) else str(value)
    return text if len(text) <= 40 else text[:37] + "..."


def is_number(value):
    """A finite number; true and false are none."""
    if type(value) is int:
        return True
    return isinstance(value, float) and math.isfinite(value)


def direction(numbers):
    """1 for strictly rising, -1 for strictly falling, 0 otherwise."""
    for way in (1, -1):
        steps = [way * (numbers[at + 1] - numbers[at]) > 0 for at in range(len(numbers) - 1)]
        if steps and all(steps):
            return way
    return 0


def _distance(a, b):
    """Edits between two words."""
    row = list(range(len(b) + 1))
    for at in range(len(a)):
        left = at + 1
        before = row[0]
        row[0] = left
        for to in range(len(b)):
            best = min(row[to + 1] + 1, left + 1, before + (a[at] != b[to]))
            before = row[to + 1]
            row[to + 1] = left = best
    return row[-1]


def meant(word, words):
    """The one of `words` that was probably meant, or None."""
    best = None
    least = 3 if len(word) > 3 else 2
    for one in sorted(words):
        far = _distance(word.lower()[:40], one)
        if far < least:
            best, least = one, far
    return best


class Checker:
    """Collects problems; `where` is a path in words, such as 'channel 3 ("map"): volts'."""

    def __init__(self):
        self.problems = []

    def bad(self, code, where, detail=""):
        self.problems.append((code, where, detail))

    def object(self, value, where, allowed, needed=()):
        """Whether value is a {...}; tells unknown and missing keys and checks those that have a plain rule."""
        if not isinstance(value, dict):
            self.bad("not_object", where, shown(value))
            return False
        prefix = where + ": " if where else ""
        for key in value:
            if key not in allowed:
                guess = meant(key, allowed)
                self.bad("unknown_key", prefix + shown(key), '; did you mean "%s"?' % guess if guess else "")
        for key in needed:
            if key not in value:
                self.bad("missing_key", prefix + key)
        for key in allowed:
            if allowed[key] is not None and key in value:
                self.rule(value[key], prefix + key, allowed[key])
        return True

    def good(self, holder, key, rule):
        """holder[key] if it is there and keeps the rule, else None; tells nothing."""
        if key not in holder:
            return None
        aside = self.problems
        self.problems = []
        fine = self.rule(holder[key], key, rule)
        self.problems = aside
        return holder[key] if fine else None

    def rule(self, value, where, rule):
        kind = rule[0]
        if kind == "text":
            return self.text(value, where, rule[1])
        if kind == "choice":
            # True is 1 and 2.0 is 2 to Python: a choice of numbers takes whole numbers alone
            if type(value) not in (int, str) or value not in rule[1]:
                allowed = ", ".join([str(one) for one in rule[1]])
                self.bad("bad_choice", where, "%s (allowed: %s)" % (shown(value), allowed))
                return False
            return True
        if kind == "numbers":
            return self.numbers(value, where, rule)
        return self.number(value, where, rule[1], rule[2], kind == "whole")

    def text(self, value, where, longest):
        if not isinstance(value, str):
            self.bad("not_text", where, shown(value))
        elif not value.strip() and longest <= schema.LONGEST_NAME and not where.endswith("unit"):
            self.bad("empty_text", where)
        elif len(value) > longest:
            self.bad("long_text", where, "%d letters (allowed: %d)" % (len(value), longest))
        else:
            return True
        return False

    def number(self, value, where, least, most, whole=False):
        if type(value) is bool:
            self.bad("bool_for_number", where, shown(value))
        elif isinstance(value, str):
            self.bad("text_for_number", where, shown(value))
        elif not isinstance(value, (int, float)):
            self.bad("not_number", where, shown(value))
        elif not is_number(value):
            self.bad("not_finite", where)
        elif not least <= value <= most:
            self.bad("out_of_range", where, "%s (allowed: %s to %s)" % (shown(value), least, most))
        elif whole and not isinstance(value, int):
            self.bad("not_whole", where, shown(value))
        else:
            return True
        return False

    def numbers(self, value, where, rule):
        _, fewest, many, least, most = rule
        if not isinstance(value, list):
            self.bad("not_list", where, shown(value))
            return False
        if not fewest <= len(value) <= many:
            wanted = "%d" % fewest if fewest == many else "%d to %d" % (fewest, many)
            self.bad("list_length", where, "%d (wanted: %s)" % (len(value), wanted))
            return False
        fine = True
        for one in value:
            fine = self.number(one, where, least, most) and fine
        return fine


def check_fuel(checker, fuel):
    """A known name, a composition, a blend or a constant: one of them."""
    where = "fuel"
    if not checker.object(fuel, where, schema.FUEL, ("name",)):
        return
    ways = ("stoich" in fuel) + ("blend" in fuel) + ("c" in fuel or "h" in fuel)
    if ways > 1:
        checker.bad("fuel_two_ways", where)
    elif ways == 0:
        _known_fuel(checker, fuel, where)
    elif "blend" in fuel:
        _check_blend(checker, fuel)
    elif "stoich" not in fuel:
        _check_atoms(checker, fuel, where)
    if "by" in fuel and "blend" not in fuel:
        checker.bad("fuel_by_alone", where + ": by")


def _known_fuel(checker, fuel, where):
    name = fuel.get("name")
    if isinstance(name, str) and not mixture.is_known(name):
        known = sorted(list(mixture.FUELS) + list(mixture.ETHANOL_BLENDS))
        checker.bad("fuel_unknown", where + ": name", "%s (known: %s)" % (shown(name), ", ".join(known)))
    elif "o" in fuel or "n" in fuel:
        checker.bad("fuel_no_air", where)


def _check_atoms(checker, fuel, where):
    atoms = [fuel.get(key, 0) for key in ("c", "h", "o")]
    if all(is_number(one) for one in atoms) and atoms[0] + atoms[1] / 4 - atoms[2] / 2 <= 0:
        checker.bad("fuel_no_air", where)


def _check_blend(checker, fuel):
    parts = fuel["blend"]
    where = "fuel: blend"
    if not isinstance(parts, list):
        checker.bad("not_list", where, shown(parts))
        return
    if not 2 <= len(parts) <= schema.MOST_PARTS:
        checker.bad("list_length", where, "%d (wanted: 2 to %d)" % (len(parts), schema.MOST_PARTS))
        return
    total = 0
    for at in range(len(parts)):
        part = parts[at]
        here = "%s, part %d" % (where, at + 1)
        if not checker.object(part, here, schema.PART, ("name", "part")):
            return
        if "c" in part or "h" in part:
            _check_atoms(checker, part, here)
        else:
            _known_fuel(checker, part, here)
        if checker.good(part, "part", schema.PART["part"]) is None:
            return
        total += part["part"]
        if fuel.get("by") != "mass" and _no_density(part):
            checker.bad("fuel_no_density", here)
    if not (abs(total - 1) < 1e-3 or abs(total - 100) < 0.1):
        checker.bad("fuel_parts_sum", where, "%g" % total)


def _no_density(part):
    if "c" not in part and "h" not in part and not mixture.is_known(str(part.get("name", ""))):
        return False  # told already
    return mixture.density_of(part) is None


def check_vehicle(checker, vehicle):
    if not checker.object(vehicle, "vehicle", schema.VEHICLE):
        return
    gears = checker.good(vehicle, "gears", schema.VEHICLE["gears"])
    if gears and len(gears) > 1 and direction(gears) != -1:
        checker.bad("gears_order", "vehicle: gears")


def check_targets(checker, target, channels):
    """target: one {...}, or a list of them of which the first whose `when` holds counts. channels: name -> channel."""
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
        checker.bad("target_load_unit", where, '"%s" (wanted: "%s")' % (channels[name].get("unit", ""), unit))


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


def check_top(checker, config):
    """Everything but the channels; returns whether the channels can be looked at."""
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
    if "fuel" in config:
        check_fuel(checker, config["fuel"])
    if "vehicle" in config:
        check_vehicle(checker, config["vehicle"])
    return "channels" in config
