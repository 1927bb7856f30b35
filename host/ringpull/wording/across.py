"""What holds across pulls and banks, as sentences: how well pulls repeat, how the banks differ."""

from __future__ import annotations

from math import isfinite

from ringpull.analysis.cells.banks import LEAST_PASSES, BankCell, Banks
from ringpull.analysis.cells.repeat import Repeat
from ringpull.said import Said, joined, kpa, lam, say

ONE_MEAN = (
    "a bank's reading is the mean of its cylinders, which can hide one lean cylinder; a mean of both banks would show "
    "a fault in one bank at half its size"
)


def repeat(one: Repeat) -> list[str]:
    """The sentences about repeatability, or why there is no figure of it."""
    if one.pulls == 0:
        return ["no pull to compare"]
    if one.pulls == 1:
        return ["one pull does not show repeatability: do at least two more"]
    if not isfinite(one.one_pull):
        return ["no cell was visited by two pulls"]
    between, within = lam(one.between), lam(one.within)
    out: list[str] = [
        say("pulls differ as wholes by ", between, " and scatter within by ", within, " (standard deviations)"),
        say("a single pull's value in one cell is certain to +/- ", lam(one.one_pull), " (95 %)"),
    ]
    if isfinite(one.drift):
        shown = one.drift_low > 0 or one.drift_high < 0
        ends = f" per pull, {'' if shown else 'not '}significant"
        out.append(say("drift of ", lam(one.drift, 4, sign=True), ends))
    return out


def banks(one: Banks) -> list[str]:
    """The differences by engine speed and load, and how to read them."""
    return [
        _differences(one),
        "each bank is judged by itself, and the leaner counts",
        say("the sensors alone may differ by ", lam(one.systematic), "; swapping them shows whether they do"),
        ONE_MEAN,
    ]


def _differences(one: Banks) -> str:
    known = [c for c in one.cells if isfinite(c.low)]
    minus = f"{one.names[1]} minus {one.names[0]}"
    if not known:
        return f"{minus}: no cell was visited {LEAST_PASSES} times, so there is no interval"
    return say(f"{minus}, with 95 % intervals: ", joined([_difference(c, one.load_unit) for c in known], "; "))


def _difference(cell: BankCell, load_unit: str) -> Said:
    load = say()
    if cell.load is not None:
        load = say(", ", kpa(cell.load) if load_unit == "kPa" else f"{cell.load:.0f} {load_unit}".rstrip())
    difference, low, high = (lam(value, sign=True) for value in (cell.difference, cell.low, cell.high))
    return say(f"{cell.rpm:.0f} rpm", load, " ", difference, " (", low, " to ", high, ")")
