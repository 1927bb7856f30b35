"""Checks the fuel of a configuration: a known name, a composition, a blend or a constant."""

from shared_math import mixture
from shared_math.config import schema
from shared_math.config.checker import is_number, shown


def check_fuel(checker, fuel):
    """Check that the fuel is given in exactly one way: a known name, a composition, a blend or a constant."""
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
        return False  # already reported
    return mixture.density_of(part) is None
