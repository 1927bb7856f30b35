"""Sentences that keep their figures separate: shown as text, or with figures that follow a units chooser.

So no code has to search a sentence for its numbers.
"""

from __future__ import annotations

from dataclasses import dataclass

LAMBDA = "lambda"  # a separate piece of a sentence, since this name follows the units chooser like the figures
LAMBDAS = ("lambda", "difference", "width")
UNITS = {"pressure": "kPa", "temperature": "degC", "warming": "degC"}


@dataclass(frozen=True)
class Figure:
    """A number in a sentence.

    kind: "lambda", "difference" (of lambda, signed), "width" (of an interval of lambda), "pressure" (kPa),
    "temperature" (degC) or "warming" (a difference of temperature, degC). base: the lambda at which a difference or
    width is converted to another unit.
    """

    value: float
    kind: str
    digits: int
    base: float | None = None
    sign: bool = False

    @property
    def text(self) -> str:
        """The number without its unit."""
        return f"{self.value:{'+' if self.sign else ''}.{self.digits}f}"

    def __str__(self) -> str:
        unit = UNITS.get(self.kind)
        return f"{self.text} {unit}" if unit else self.text


class Said(str):
    """A sentence as text; `parts` are its pieces of text and figures. in_lambda: whether it has a figure in lambda."""

    parts: tuple[str | Figure, ...]

    @property
    def in_lambda(self) -> bool:
        return any(isinstance(part, Figure) and part.kind in LAMBDAS for part in self.parts)


def say(*parts: str | Figure) -> Said:
    """The sentence made of these pieces in order; pieces that are sentences keep their figures."""
    flat: list[str | Figure] = []
    for part in parts:
        flat.extend(part.parts if isinstance(part, Said) else (part,))
    out = Said("".join(str(part) for part in flat))
    out.parts = tuple(flat)
    return out


def capital(sentence: str) -> Said:
    """The sentence with a capital letter at its beginning."""
    first, *rest = [part for part in say(sentence).parts if part != ""] or [""]
    return say(first[:1].upper() + first[1:] if isinstance(first, str) else first, *rest)


def inner(label: str) -> str:
    """A label in the middle of a sentence: "Left bank" becomes "left bank", "EGT" stays."""
    return label[:1].lower() + label[1:] if label[1:2].islower() else label


def joined(sentences: list[Said], between: str = ", ") -> Said:
    """The sentences in order, with `between` between them."""
    parts: list[str | Figure] = []
    for at, one in enumerate(sentences):
        parts += [between, one] if at else [one]
    return say(*parts)


def lam(value: float, digits: int = 3, sign: bool = False, base: float | None = None) -> Figure:
    """A difference or width of lambda as a figure."""
    return Figure(value, "difference" if sign else "width", digits, base, sign)


def kpa(value: float, digits: int = 0) -> Figure:
    """A pressure as a figure."""
    return Figure(value, "pressure", digits)


def degc(value: float, digits: int = 0, change: bool = False) -> Figure:
    """A temperature, or a change of one, as a figure."""
    return Figure(value, "warming" if change else "temperature", digits)
