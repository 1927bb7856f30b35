"""Small pieces of HTML: escaped text, lists, tables, and numbers that follow the units chooser."""

from __future__ import annotations

import re
from html import escape
from math import isfinite

from ringpull.said import LAMBDA, UNITS, Figure, Said

DASH = "–"
QUANTITIES = {"kPa": "pressure", "degC": "temperature"}


def text(value: object) -> str:
    """The value as escaped text."""
    return escape(str(value), quote=True)


def number(value: float | None, digits: int = 0, sign: bool = False) -> str:
    """A plain number; a dash for None and NaN."""
    if value is None or not isfinite(value):
        return DASH
    return f"{value:+.{digits}f}" if sign else f"{value:.{digits}f}"


def quantity(value: float | None, kind: str, digits: int, unit: bool = True, base: float | None = None) -> str:
    """A number that follows the units chooser.

    kind: "lambda", "difference" (of lambda, signed), "width" (of an interval of lambda), "pressure" (kPa),
    "temperature" (degC) or "warming" (a difference of temperature, degC). digits: decimals in these units. unit:
    whether the unit is shown. base: the lambda at which a difference or width is converted to equivalence ratio.
    """
    if value is None or not isfinite(value):
        return DASH
    shown = number(value, digits, sign=kind == "difference")
    name = {"pressure": "\u00a0kPa", "temperature": "\u00a0°C", "warming": "\u00a0°C"}.get(kind, "") if unit else ""
    quiet = "" if unit else ' data-bare="1"'
    stands = "" if base is None or not isfinite(base) else f' data-b="{base:.5g}"'
    return f'<span class="q" data-q="{kind}" data-v="{value:.6g}" data-d="{digits}"{quiet}{stands}>{shown}{name}</span>'


def live(sentence: str) -> str:
    """A sentence whose pressures and temperatures follow the units chooser.

    Lambda stays lambda; the page says so if another unit of the mixture is chosen.
    """
    if not isinstance(sentence, Said):
        return text(sentence)
    parts = [
        quantity(part.value, part.kind, part.digits) if isinstance(part, Figure) and part.kind in UNITS else text(part)
        for part in sentence.parts
    ]
    inside = "".join(parts)
    return f'<span class="in-lambda">{inside}</span>' if sentence.in_lambda else inside


def following(sentence: str) -> str:
    """A sentence of which all figures follow the units chooser, including lambda and its name."""
    if not isinstance(sentence, Said):
        return text(sentence)
    out = ""
    for part in sentence.parts:
        if isinstance(part, Figure):
            out += quantity(part.value, part.kind, part.digits, base=part.base)
        else:
            out += mixture_name() if part == LAMBDA else together(text(part).replace(" +/- ", " ± "))
    return out


def together(words: str) -> str:
    """The text with non-breaking spaces between numbers and units."""
    return re.sub(r"(?<=\d) (?=(s|rpm|%|V)\b|%)", "\u00a0", words)


def load(value: float | None, unit: str, bare: bool = False) -> str:
    """A load with its unit; without it if `bare`."""
    if unit in QUANTITIES:
        return quantity(value, QUANTITIES[unit], 0, unit=not bare)
    if value is None or not isfinite(value):
        return DASH
    return f"{value:.0f}" if bare or not unit else f"{value:.0f}&nbsp;{text(unit)}"


def mixture_name() -> str:
    """The word "lambda" as HTML that follows the units chooser."""
    return '<span class="q-name">lambda</span>'


def listed(items: list[str], tag: str = "ul", kind: str = "") -> str:
    """The items (HTML) as a list; empty without items."""
    if not items:
        return ""
    named = f' class="{kind}"' if kind else ""
    return f"<{tag}{named}>" + "".join(f"<li>{item}</li>" for item in items) + f"</{tag}>"


def table(heads: list[str], rows: list[list[str]], caption: str) -> str:
    """A table of HTML cells that scrolls by itself if the page is narrow."""
    head = "".join(f'<th scope="col">{one}</th>' for one in heads)
    body = "".join("<tr>" + "".join(f"<td>{cell}</td>" for cell in row) + "</tr>" for row in rows)
    return (
        f'<div class="scroll" tabindex="0" role="region" aria-label="{text(caption)}"><table><caption>{text(caption)}'
        f"</caption><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></div>"
    )
