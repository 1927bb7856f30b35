"""What shows a person where each part goes: placement list, picture, and a page that finds parts, legs and nets."""

from __future__ import annotations

import csv
import io
import json
import re
from html import escape
from pathlib import Path

from hardware.board import contents, items, kicad, prints, rules, shape
from hardware.board.footprints import GRID_MM
from hardware.board.items import Item
from hardware.board.places import read_places
from hardware.board.tracks import read_tracks
from hardware.circuit.model import Part
from hardware.circuit.stock import STOCK
from hardware.circuit.tables import pin_text

TEMPLATE = Path(__file__).with_name("assembly_page.html")
SCALE = 8.0  # drawing units per millimetre
_COLOURS = {
    "P": "#f6c9c0", "H": "#f2d7b6", "R": "#f7e3a6", "V": "#d9d9d9", "N": "#d9d9d9", "G": "#d9d9d9", "A0": "#bfe3ea",
    "W0": "#d9d9d9", "W1": "#d9d9d9", "Y": "#d9d9d9",
    "A1": "#a9d3ee", "A2": "#c3e8cf", "A3": "#a8dcc0", "A4": "#cfe6b8", "X": "#c8cdf2", "E1": "#e3d3f0",
    "E2": "#d5bfe8", "C": "#f3b1d0", "J": "#e3d3f0",
    "B": "#f5edb5", "Z": "#e8e0c8", "S": "#dfe6ee", "D": "#dfe6ee", "K": "#ffffff",
}  # fmt: skip


def _n(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".")


def placement_csv() -> str:
    """Part, value, footprint, place of its first pad from the lower left corner, turn, whether it is fitted."""
    places = read_places()
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["part", "value", "footprint", "x_mm", "y_mm", "turn_deg", "side", "fitted"])
    for item in items.all_items():
        if item.stock == "point":
            continue
        place = places[item.ref]
        x, y = place.at
        row = [
            item.ref,
            kicad.shown_value(item),
            item.footprint.name,
            _n(x),
            _n(shape.HEIGHT_MM - y),
            place.turn,
            "upper",
        ]
        writer.writerow([*row, "yes" if item.fitted else "no"])
    return out.getvalue()


def legs(item: Item) -> list[tuple[str, str]]:
    """(leg in words, net) of each pad that leads somewhere."""
    part = Part(item.ref, item.stock if item.stock in STOCK else "jumper", "", {}, {})
    out = []
    for pad in item.footprint.pads:
        net = item.nets.get(pad.name)
        if net is None:
            continue
        words = "" if item.stock == "point" else pin_text(part, pad.name).strip()
        if item.stock.startswith(("plug", "board")):
            words = f"pin {pad.name}"
        entry = (words or pad.name, net)
        if entry not in out:
            out.append(entry)
    return out


def _copper(side: str) -> str:
    lines = []
    for track in read_tracks():
        if track.side == side:
            (x1, y1), (x2, y2) = ((SCALE * GRID_MM * x, SCALE * GRID_MM * y) for x, y in (track.a, track.b))
            width = _n(SCALE * rules.CLASSES[track.kind].width_mm)
            lines.append(
                f'<line data-net="{track.net}" x1="{_n(x1)}" y1="{_n(y1)}" x2="{_n(x2)}" y2="{_n(y2)}" '
                f'stroke-width="{width}"/>'
            )
    return "\n".join(lines)


def _part(item: Item, place: shape.Place) -> str:
    foot = item.footprint
    x0, y0, x1, y1 = (SCALE * value for value in place.box(foot.body))
    fill = _COLOURS.get(item.block, "#eeeeee")
    style = f'fill="{fill}" fill-opacity="{0.25 if item.ref == "M1" else 0.85}" stroke="#333"'
    dashed = "" if item.fitted else ' stroke-dasharray="4 3"'
    out = [f'<g class="part" data-ref="{item.ref}" tabindex="0"><title>{escape(item.ref)}</title>']
    if foot.round:
        radius = (x1 - x0) / 2
        out.append(f'<circle cx="{_n((x0 + x1) / 2)}" cy="{_n((y0 + y1) / 2)}" r="{_n(radius)}" {style}{dashed}/>')
    elif foot.name.startswith("to92"):
        points = [place.point(point) for point in kicad.flat_side(foot)]
        text = " ".join(f"{_n(SCALE * x)},{_n(SCALE * y)}" for x, y in points)
        out.append(f'<polygon points="{text}" {style}{dashed}/>')
    else:
        size = f'width="{_n(x1 - x0)}" height="{_n(y1 - y0)}"'
        out.append(f'<rect x="{_n(x0)}" y="{_n(y0)}" {size} rx="2" {style}{dashed}/>')
    if foot.mark == "b":
        ring = place.box((foot.body[2] - 1.0, foot.body[1], foot.body[2] - 0.6, foot.body[3]))
        a, b, c, d = (SCALE * value for value in ring)
        out.append(f'<rect x="{_n(a)}" y="{_n(b)}" width="{_n(c - a)}" height="{_n(d - b)}" fill="#222"/>')
    for pad in foot.pads:
        px, py = (SCALE * value for value in place.point(pad.at))
        net = item.nets.get(pad.name, "")
        square = foot.mark and pad is foot.pads[1 if foot.mark == "b" else 0]
        half = SCALE * min(pad.size) / 2
        shape_of = (
            f'rect x="{_n(px - half)}" y="{_n(py - half)}" width="{_n(2 * half)}" height="{_n(2 * half)}"'
            if square
            else f'circle cx="{_n(px)}" cy="{_n(py)}" r="{_n(half)}"'
        )
        out.append(f'<{shape_of} class="pad" data-net="{net}" fill="#b8860b" stroke="none"/>')
    if foot.mark == "a":
        px, py = (SCALE * value for value in place.point((-foot.pads[0].size[0] / 2 - 0.9, -1.6)))
        out.append(f'<text x="{_n(px)}" y="{_n(py + 4)}" font-size="13" text-anchor="middle">+</text>')
    middle = ((x0 + x1) / 2, (y0 + y1) / 2)
    upright = (y1 - y0) > 1.3 * (x1 - x0)
    words = item.ref.removeprefix("TP-")
    words = prints.POINTS.get(words, words)
    size = min(11.0, 1.45 * max(x1 - x0, y1 - y0) / max(len(words), 3)) if item.stock != "point" else 9.0
    if item.stock == "point":
        middle = (middle[0], y0 - 6)
    turn = f' transform="rotate(-90 {_n(middle[0])} {_n(middle[1])})"' if upright else ""
    out.append(
        f'<text x="{_n(middle[0])}" y="{_n(middle[1] + 0.35 * size)}" font-size="{_n(size)}" '
        f'text-anchor="middle"{turn}>{escape(words)}</text></g>'
    )
    return "\n".join(out)


def drawing(copper: bool) -> str:
    """The board from the side of the parts; with its tracks for the page."""
    places = read_places()
    wide, high = SCALE * shape.WIDTH_MM, SCALE * shape.HEIGHT_MM
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="-10 -10 {_n(wide + 20)} {_n(high + 20)}" '
        'font-family="DejaVu Sans, sans-serif" role="img" aria-label="the board from the side of the parts">',
        f'<rect x="-10" y="-10" width="{_n(wide + 20)}" height="{_n(high + 20)}" fill="white"/>',
        f'<rect x="0" y="0" width="{_n(wide)}" height="{_n(high)}" rx="{_n(SCALE * shape.CORNER_MM)}" fill="#eef4ec" '
        'stroke="#333"/>',
    ]
    for x, y in shape.HOLES:
        out.append(
            f'<circle cx="{_n(SCALE * x)}" cy="{_n(SCALE * y)}" r="{_n(SCALE * shape.HOLE_MM / 2)}" fill="white" '
            'stroke="#333"/>'
        )
    if copper:
        for side in ("lower", "upper"):
            out.append(f'<g class="{side}" stroke-linecap="round" fill="none">{_copper(side)}</g>')
    left, top, right, low = (SCALE * value for value in shape.COIL_BOX)
    out.append(
        f'<rect x="{_n(left)}" y="{_n(top)}" width="{_n(right - left)}" height="{_n(low - top)}" fill="none" '
        'stroke="#a00000" stroke-dasharray="8 5"/>'
        f'<text x="{_n(left + 8)}" y="{_n(low - 7)}" font-size="12" fill="#a00000">coil, 400 V: nothing else within '
        "5 mm</text>"
    )
    (x, y0), (_, y1) = shape.SLOT
    out.append(
        f'<line x1="{_n(SCALE * x)}" y1="{_n(SCALE * y0)}" x2="{_n(SCALE * x)}" y2="{_n(SCALE * y1)}" stroke="#a00000" '
        f'stroke-width="{_n(SCALE * shape.SLOT_MM)}" stroke-linecap="round" stroke-opacity="0.35"/>'
    )
    ordered = sorted(items.all_items(), key=lambda item: item.ref != "M1")
    out += [_part(item, places[item.ref]) for item in ordered]
    return "\n".join([*out, "</svg>", ""])


def svg() -> str:
    """The assembly picture."""
    return drawing(copper=False)


def _short(title: str) -> str:
    """A block's title without what it says about builds and details."""
    return re.split(r" \(|[:,]", title)[0]


def page() -> str:
    """The page: the picture with its tracks, every part with value and legs, a field that finds them."""
    rows, told = [], {}
    for item in items.all_items():
        stock = STOCK[item.stock].text if item.stock in STOCK else "test point"
        found = [f"{leg}: {net}" for leg, net in legs(item)]
        told[item.ref] = {"part": stock, "value": kicad.shown_value(item), "use": item.use, "legs": legs(item),
                          "fitted": item.fitted}  # fmt: skip
        shown = found if len(found) <= 6 else [*found[:4], f"and {len(found) - 4} more"]
        value = kicad.shown_value(item) if item.value or item.stock.startswith("plug") else ""
        rows.append(
            f'<tr data-ref="{item.ref}" tabindex="0"><th scope="row">{escape(item.ref)}</th><td>{escape(value)}</td>'
            f"<td>{escape(stock)}{'' if item.fitted else ' <b>stays empty</b>'}</td>"
            f"<td>{escape('; '.join(shown))}</td></tr>"
        )
    blocks = "".join(
        f'<button type="button" data-block="{use.prefix}">{use.prefix} {escape(_short(use.data.title))}</button>'
        for use in contents.BOARD.uses
    )
    text = TEMPLATE.read_text(encoding="utf-8")
    text = text.replace("<!--drawing-->", drawing(copper=True)).replace("<!--rows-->", "\n".join(rows))
    return text.replace("<!--blocks-->", blocks).replace("/*parts*/{}", json.dumps(told, ensure_ascii=False))
