"""Shared by the checks of a configuration: the rules of schema.py, and mistakes as (code, where, detail).

The sentences of the codes are in words.py, which a device loads only if it must show one.
"""

import math

_MUST_SAY = ("name", "board", "load", "channel", "cold", "checks")  # texts that must not be empty


def shown(value):
    """A wrong value as shown in a sentence, shortened."""
    if type(value) is int and not -1000000000000 < value < 1000000000000:
        return "a huge number"
    if isinstance(value, (dict, list)):
        return "{...}" if isinstance(value, dict) else "[...]"
    if value is None or type(value) is bool:
        return {None: "null", True: "true", False: "false"}[value]
    text = '"%s"' % value if isinstance(value, str) else str(value)
    return text if len(text) <= 40 else text[:37] + "..."


def is_number(value):
    """Whether a value is a finite number; true and false are not."""
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
    """The word that was probably meant, or None."""
    best = None
    least = 3 if len(word) > 3 else 2
    for one in sorted(words):
        if len(word) > 2 and one.startswith(word.lower()):
            return one
        far = _distance(word.lower()[:40], one)
        if far < least:
            best, least = one, far
    return best


class Checker:
    """Collects mistakes; `where` is a path in words, such as 'channel 3 ("map"): volts'."""

    def __init__(self):
        self.problems = []

    def bad(self, code, where, detail=""):
        self.problems.append((code, where, detail))

    def object(self, value, where, allowed, needed=()):
        """Whether value is a {...}; reports unknown and missing keys and checks keys with a plain rule."""
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
        """holder[key] if it exists and obeys the rule, else None; reports nothing."""
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
            # to Python True is 1 and 2.0 is 2: a choice of numbers accepts only integers
            if type(value) not in (int, str) or value not in rule[1]:
                allowed = ", ".join([str(one) for one in rule[1]])
                self.bad("bad_choice", where, "%s (allowed: %s)" % (shown(value), allowed))
                return False
            return True
        if kind == "yes_no":
            if type(value) is not bool:
                self.bad("not_yes_no", where, shown(value))
                return False
            return True
        if kind == "numbers":
            return self.numbers(value, where, rule)
        return self.number(value, where, rule[1], rule[2], kind == "whole")

    def text(self, value, where, longest):
        if not isinstance(value, str):
            self.bad("not_text", where, shown(value))
        elif not value.strip() and where.endswith(_MUST_SAY):
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
