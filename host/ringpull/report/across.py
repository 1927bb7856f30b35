"""Small tables across pulls and banks: how well pulls repeat, and how the banks differ."""

from __future__ import annotations

from math import isfinite

from ringpull.analysis.cells.banks import BankCell, Banks
from ringpull.analysis.cells.repeat import Repeat
from ringpull.analysis.drive_state.roles import bank_label
from ringpull.files.configuration import Configuration
from ringpull.report.words import DASH, load, mixture_name, number, quantity, table, text
from ringpull.wording import across

MOST_CELLS = 10  # bank differences that are shown at once, the largest first; the others are folded away
BASE = 0.85  # lambda at which widths are converted


def part(answer, unit: str) -> str:
    """Both tables, side by side if there is room."""
    config = answer.pulls[0].judged.columns.config if answer.pulls else Configuration()
    tables = [] if answer.repeat is None or not answer.judged else [repeat(answer.repeat)]
    tables += [banks(one, unit, config) for one in answer.banks]
    return f'<div class="tables">{"".join(f"<div>{one}</div>" for one in tables)}</div>' if tables else ""


def width(value: float) -> str:
    """A width of lambda as HTML."""
    return quantity(value, "width", 3, base=BASE)


def signed(value: float) -> str:
    """A difference of lambda as HTML, with its sign."""
    return quantity(value, "difference", 3, base=BASE)


def repeat(one: Repeat) -> str:
    """The table of how well pulls repeat."""
    if not isfinite(one.one_pull):
        return "".join(f"<p>{text(words)}</p>" for words in across.repeat(one))
    rows = [
        ["pulls compared", number(one.pulls)],
        ["whole pulls differ by (standard deviation)", width(one.between)],
        ["scatter within a pull (standard deviation)", width(one.within)],
        ["one pull in one cell is certain to (95 %)", f"± {width(one.one_pull)}"],
    ]
    if isfinite(one.drift):
        shown = "shown" if one.drift_low > 0 or one.drift_high < 0 else "none shown"
        rows.append(["drift from pull to pull", f"{signed(one.drift)} ({shown})"])
    rows += [[f"level of pull {at} of those compared", signed(level)] for at, level in enumerate(one.levels[:12], 1)]
    worst = f"Of the banks this is {one.worst_bank}, which repeats worst." if one.worst_bank else ""
    below = f'<p class="small">{text(worst)}</p>' if worst else ""
    return table(["over all pulls", mixture_name()], rows, "how well pulls repeat") + below


def banks(one: Banks, unit: str, config: Configuration) -> str:
    """The table of differences between two banks, by engine speed and load."""
    first, second = (bank_label(config, name) for name in one.names)
    known = sorted((c for c in one.cells if isfinite(c.low)), key=lambda c: -abs(c.difference))
    caption = f"{second} minus {first}"
    if not known:
        return f'<p class="small">{text(caption)}: no cell was visited often enough for an interval.</p>'
    heads = ["rpm", f"load, {text(unit)}" if unit not in ("kPa", "degC") else "load", mixture_name(), "95 %", "leaner"]
    rows = [row(c, unit, dict(zip(one.names, (first, second), strict=True))) for c in known]
    out = table(heads, rows[:MOST_CELLS], caption)
    if rows[MOST_CELLS:]:
        more = table(heads, rows[MOST_CELLS:], f"{caption}, the smaller differences")
        out += f"<details><summary>{len(rows) - MOST_CELLS} smaller differences</summary>{more}</details>"
    return out + (
        f'<p class="small">Each bank is judged by itself, and the leaner counts. The sensors alone may differ by '
        f"{width(known[0].systematic)}; swapping them shows whether they do. {text(across.ONE_MEAN.capitalize())}.</p>"
    )


def row(cell: BankCell, unit: str, labels: dict[str, str]) -> list[str]:
    """One place."""
    return [
        number(cell.rpm),
        DASH if cell.load is None else load(cell.load, unit),
        signed(cell.difference),
        f"{signed(cell.low)} to {signed(cell.high)}",
        text(labels.get(cell.leaner, cell.leaner)),
    ]
