"""Reading of typed answers: choices by the words of the trade, and numbers as people write them."""

from __future__ import annotations

import re
from collections.abc import Sequence

from shared_math.config import checker

# word of the trade -> the name of the choice
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
_BETWEEN = re.compile(r"(?:\s|[,;]\s|;|kpa)+", re.I)
_THOUSANDS = re.compile(r"[1-9]\d{0,2}([,' ]\d{3})+")
_WITH_UNIT = re.compile(r"([-+]?[\d.,' ]*\d)\s*([a-z%/³]*[a-z0-9/%]*)", re.I)
BAR = {"bar": 100.0, "psi": 6.894757}  # -> kPa


def chosen(said: str, allowed: Sequence[str]) -> str | None:
    """The choice that was typed: in full, by another word for it, or by letters that only one choice begins with."""
    said = said.lower()
    for one in (said, ALSO_CALLED.get(said)):
        if one in allowed:
            return one
    begun = [one for one in allowed if one.startswith(said)]
    return begun[0] if len(begun) == 1 else None


def meant(said: str, allowed: Sequence[str]) -> str | None:
    """The choice whose spelling is nearest, to be suggested; None if none is near."""
    return checker.meant(said.lower(), allowed)


def number(said: str, least: float, most: float, in_kpa: bool = False) -> float | None:
    """The number that was typed; None if it isn't one.

    "7,200" and "7 200" are thousands if that is in range; otherwise a comma is a decimal point. A unit may follow.
    in_kpa: bar and psi are converted to kPa.
    """
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


def several(said: str) -> tuple[float, ...] | None:
    """The numbers that were typed, with blanks (or a comma and a blank, or semicolons) between; None if one isn't."""
    try:
        return tuple(float(part.replace(",", ".")) for part in _BETWEEN.split(said.strip()) if part) or None
    except ValueError:
        return None


def between(x: float, xs: Sequence[float], ys: Sequence[float]) -> float:
    """The value at x of straight lines through points with rising `xs`; flat beyond their ends."""
    for at in range(1, len(xs)):
        if x <= xs[at]:
            share = max(0.0, (x - xs[at - 1]) / (xs[at] - xs[at - 1]))
            return ys[at - 1] + share * (ys[at] - ys[at - 1])
    return ys[-1]
