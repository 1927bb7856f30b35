"""What somebody types at a question, read: choices with the words of the trade, numbers as people write them."""

from __future__ import annotations

import re
from collections.abc import Sequence

from shared_math.config import checker

# What people call it -> what it is called here
ALSO_CALLED = {
    "gasoline": "petrol",
    "unleaded": "petrol",
    "benzin": "petrol",
    "e-85": "e85",
    "alcohol": "methanol",
    "rp2040": "rp2",
    "pico": "rp2",
    "pico2": "rp2350",
    "other": "generic",
    "y": "yes",
    "n": "no",
    "two": "2",
    "four": "4",
}
_THOUSANDS = re.compile(r"[1-9]\d{0,2}([,' ]\d{3})+")
_WITH_UNIT = re.compile(r"([-+]?[\d.,' ]*\d)\s*([a-z%/³]*[a-z0-9/%]*)", re.I)
BAR = {"bar": 100.0, "psi": 6.894757}  # -> kPa


def chosen(said: str, allowed: Sequence[str]) -> str | None:
    """The one of `allowed` that was meant: written out, called otherwise, or the only one that begins so."""
    said = said.lower()
    for one in (said, ALSO_CALLED.get(said)):
        if one in allowed:
            return one
    begun = [one for one in allowed if one.startswith(said)]
    return begun[0] if len(begun) == 1 else None


def meant(said: str, allowed: Sequence[str]) -> str | None:
    """The one of `allowed` that is spelled nearly so."""
    return checker.meant(said.lower(), allowed)


def number(said: str, least: float, most: float, in_kpa: bool = False) -> float | None:
    """The number that was typed, None for none: "7,200" and "7 200" are thousands where that is in range, else a
    comma is the decimal point; a unit may follow. in_kpa: bar and psi are turned into kPa."""
    fits = _WITH_UNIT.fullmatch(said.strip())
    if fits is None:
        return None
    figure, unit = fits[1].strip(), fits[2].lower()
    factor = BAR.get(unit, 1.0) if in_kpa else 1.0
    if _THOUSANDS.fullmatch(figure):
        value = float(re.sub("[,' ]", "", figure)) * factor
        if least <= value <= most:
            return value
    try:
        return float(figure.replace(",", ".").replace(" ", "")) * factor
    except ValueError:
        return None
