"""The fuel map as a picture: lambda over target by engine speed and load, with passes and interval of each cell."""

from __future__ import annotations

from math import isfinite

from ringpull.analysis.cells.cell import NOT_MAPPED
from ringpull.analysis.cells.fuelmap import FuelMap
from ringpull.report.map_words import sentences
from ringpull.report.palette import on_map
from ringpull.report.words import QUANTITIES, listed, live, load, number, text

SPAN = 0.08  # the colours reach from this much rich to this much lean


def sign(cell) -> str:
    """The sign of a cell: a lean event in it, or surely lean or rich by its interval with the systematic part."""
    if cell.lean_event:
        return "!"
    if not isfinite(cell.low):
        return ""
    if cell.low - cell.systematic > 1.0:
        return "▲"
    return "▼" if cell.high + cell.systematic < 1.0 else ""


def place_of(cell, unit: str) -> str:
    """The engine speed and load of a cell."""
    return f"{cell.rpm:.0f} rpm" + ("" if cell.load is None else f", {cell.load:.0f} {unit}")


def told(cell) -> str:
    """The result of a cell in words."""
    event = "; a lean event lies in it" if cell.lean_event else ""
    if cell.state == NOT_MAPPED:
        return f"under load for {cell.seconds:.1f} s, but only just after the throttle opened: not mapped{event}"
    passes = "1 pass" if cell.passes == 1 else f"{cell.passes} passes"
    known = f"lambda over target {cell.ratio:.3f}, {passes}, {cell.seconds:.1f} s{event}"
    if not isfinite(cell.low):
        return f"{known}; too few passes for an interval"
    factor = f"; multiply fuel by {cell.factor:.3f}" if isfinite(cell.factor) else ""
    return f"{known}, 95 % {cell.low:.3f} to {cell.high:.3f}{factor}"


def place(ratio: float) -> float:
    """The place of a ratio on the colour scale, 0 to 1."""
    return (ratio - 1.0) / SPAN / 2.0 + 0.5


def square(cell, unit: str, first: bool) -> str:
    """A cell of the picture as HTML."""
    mapped = cell.state != NOT_MAPPED
    ground, ink = on_map(place(cell.ratio)) if mapped else ("transparent", "inherit")
    few = "" if isfinite(cell.low) else " few"
    words = told(cell)
    kind = QUANTITIES.get(unit, "")
    follows = f' data-load="{cell.load:.6g}" data-q="{kind}"' if kind and cell.load is not None else ""
    return (
        f'<td><button type="button" class="cell{few}" tabindex="{0 if first else -1}" style="background:{ground};'
        f'color:{ink}" data-rpm="{cell.rpm:.0f}"{follows} data-told="{text(words)}" '
        f'aria-label="{text(place_of(cell, unit) + ": " + words)}">'
        f'{f"{cell.ratio:.2f}" if mapped else "spool"}<span class="surely">{sign(cell)}</span></button></td>'
    )


def unit_name(unit: str) -> str:
    """The load's unit as HTML that follows the units chooser."""
    kind = QUANTITIES.get(unit)
    return f'<span class="q-unit" data-q="{kind}">{text(unit)}</span>' if kind else text(unit)


def part(made: FuelMap) -> str:
    """The section of the map."""
    unit = made.load_unit
    title = '<section id="map" aria-labelledby="map-title"><h2 id="map-title">Fuel map: lambda over target</h2>'
    if not made.cells:
        return f"{title}{listed([live(w) for w in sentences(made)], kind='small')}</section>"
    cells = made.places
    loads = sorted({c.load for c in made.cells if c.load is not None}, reverse=True) or [None]
    speeds = sorted({c.rpm for c in made.cells})
    rows, first = [], True
    for at in loads:
        squares = []
        for rpm in speeds:
            cell = cells.get((at, rpm))
            squares.append("<td></td>" if cell is None else square(cell, unit, first))
            first = first and cell is None
        rows.append(
            f'<tr><th scope="row">{load(at, unit, bare=True) if at is not None else ""}</th>{"".join(squares)}</tr>'
        )
    head = "".join(f'<th scope="col">{number(rpm)}</th>' for rpm in speeds)
    scale = "".join(
        f'<span style="background:{on_map(k / 8)[0]};color:{on_map(k / 8)[1]}">{1 + (k / 4 - 1) * SPAN:.2f}</span>'
        for k in range(9)
    )
    return (
        f'{title}<p class="quiet" id="map-how">Engine speed in rpm across, load down<span class="touch">; touch a '
        "cell, or "
        'move with the arrow keys</span>.</p><div class="scroll"><table class="map" '
        'aria-describedby="map-how"><thead><tr><td class="corner">'
        f"{unit_name(unit)}</td>"
        f"{head}</tr></thead><tbody>{''.join(rows)}</tbody>"
        f'</table></div><p id="map-cell" role="status">&nbsp;</p><p class="legend"><span class="scale">{scale}</span>'
        "<span>lambda over target, in every unit: 1.00 is on target, more is lean</span><span>! contains a lean "
        "event, ▲ surely lean, ▼ surely rich (95 %, systematic part included)"
        "</span><span>dashed edge: too few passes; spool: visited only just after the throttle opened, not mapped; "
        f"empty: never visited</span></p>{listed([live(w) for w in sentences(made)], kind='small')}</section>"
    )
