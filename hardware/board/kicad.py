"""The board as a KiCad 6 file, written from the data: parts, nets, tracks, pours, outline. Also its project and rules.

Every item's identity is made from its name, so the same data give the same bytes.
"""

from __future__ import annotations

import json
import uuid
from dataclasses import dataclass

from hardware.board import items as board_items
from hardware.board import prints, rules, shape
from hardware.board.footprints import GRID_MM, Box, Footprint, Pad
from hardware.board.items import Item
from hardware.board.places import analog_box, read_places
from hardware.board.shape import Place
from hardware.board.tracks import read_tracks
from hardware.circuit.draw import SHORT, value_text
from hardware.circuit.model import Part
from hardware.circuit.stock import STOCK

TITLE, REVISION = "Ringpull board", "4"
_SPACE = uuid.UUID("6e2f3c1e-8a55-4c0c-9f0e-52494e47504c")
_BOTH, _UPPER = '"*.Cu" "*.Mask"', '"F.Cu" "F.Paste" "F.Mask"'
_LAYERS = (
    (0, "F.Cu", "signal"), (31, "B.Cu", "signal"), (34, "B.Paste", "user"), (35, "F.Paste", "user"),
    (36, "B.SilkS", "user"), (37, "F.SilkS", "user"), (38, "B.Mask", "user"), (39, "F.Mask", "user"),
    (44, "Edge.Cuts", "user"), (45, "Margin", "user"), (46, "B.CrtYd", "user"), (47, "F.CrtYd", "user"),
    (48, "B.Fab", "user"), (49, "F.Fab", "user"),
)  # fmt: skip


def _id(*names: object) -> str:
    return str(uuid.uuid5(_SPACE, " ".join(map(str, names))))


def _n(value: float) -> str:
    return f"{value:.4f}".rstrip("0").rstrip(".") if value else "0"


def _quoted(words: str) -> str:
    marked = words.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{marked}"'


def _xy(x: float, y: float) -> str:
    return f"{_n(x)} {_n(y)}"


def shown_value(item: Item) -> str:
    """What stands beside the part: its value, or a short word for what it is."""
    if item.stock == "board_rp2":
        return "RP2040 board"
    if item.stock == "point" or item.stock.startswith("plug"):
        return item.use.removeprefix("test point: ")
    if item.value or item.stock in SHORT:
        return value_text(Part(item.ref, item.stock, item.value, {}, {}))
    return STOCK[item.stock].text


def flat_side(foot: Footprint) -> list[tuple[float, float]]:
    """The outline of a TO-92 part from above: its flat side is the long one."""
    x0, y0, x1, y1 = foot.body
    return [(x0, y1), (x0, y0 + 1.4), (x0 + 1.4, y0), (x1 - 1.4, y0), (x1, y0 + 1.4), (x1, y1)]


@dataclass(frozen=True)
class Stroke:
    """A line of the upper print or outline: layer, from, to in the footprint's own millimetres."""

    layer: str
    a: tuple[float, float]
    b: tuple[float, float]


def _free_pieces(a, b, pads: tuple[Pad, ...]):
    """Pieces of a level or upright line that keep 0.2 mm of every pad."""
    level = a[1] == b[1]
    k = 0 if level else 1
    low, high = sorted((a[k], b[k]))
    gaps = []
    for pad in pads:
        reach = [size / 2 + 0.25 for size in pad.size]
        if abs(pad.at[1 - k] - a[1 - k]) < reach[1 - k]:
            gaps.append((pad.at[k] - reach[k], pad.at[k] + reach[k]))
    at = low
    for left, right in [*sorted(gaps), (high, high)]:
        if left - at > 0.3:
            end = min(left, high)
            yield ((at, a[1]), (end, a[1])) if level else ((a[0], at), (a[0], end))
        at = max(at, right)


def outline(foot: Footprint) -> list[Stroke]:
    """The part's box on the print, where no pad is, with a bar at the marked end."""
    x0, y0, x1, y1 = foot.body
    if foot.name.startswith("to92"):
        points = flat_side(foot)
        out = []
        for a, b in zip(points, points[1:] + points[:1]):
            pieces = _free_pieces(a, b, foot.pads) if a[0] == b[0] or a[1] == b[1] else [(a, b)]
            out += [Stroke("F.SilkS", *piece) for piece in pieces]
        return out
    sides = [((x0, y0), (x1, y0)), ((x0, y1), (x1, y1)), ((x0, y0), (x0, y1)), ((x1, y0), (x1, y1))]
    if foot.name == "opto":  # the slot runs through its middle
        sides = sides[2:]
    if foot.name == "module" or foot.name.startswith("plug"):  # open at the end where other things are
        sides.pop(1)
    if foot.name.startswith("to220"):  # the tab's side; behind it the heat sink
        back = -3.2 if foot.name == "to220_regulator" else y0 + 0.25
        sides.append(((x0, back), (x1, back)))
    if foot.mark == "b" and not foot.round:  # the ring
        sides += [((x1 - step, y0), (x1 - step, y1)) for step in (0.2, 0.4)]
    out = [Stroke("F.SilkS", *piece) for a, b in sides for piece in _free_pieces(a, b, foot.pads)]
    if foot.mark == "1" and not foot.name.startswith("to220"):
        out.append(Stroke("F.SilkS", (x0 + 0.6, y0), (x0, y0 + 0.6)))
    if foot.mark == "a":
        x, y = -foot.pads[0].size[0] / 2 - 0.9, -1.6
        out += [Stroke("F.SilkS", (x - 0.5, y), (x + 0.5, y)), Stroke("F.SilkS", (x, y - 0.5), (x, y + 0.5))]
    return out


def _line(kind: str, a, b, layer: str, width: float, *name: object) -> str:
    stamp = _id(kind, *name, a, b)
    return f'({kind} (start {_xy(*a)}) (end {_xy(*b)}) (layer "{layer}") (width {_n(width)}) (tstamp {stamp}))'


def _text(kind: str, words: str, at, turn: int, layer: str, size: float, *name: object) -> str:
    mirrored = " (justify mirror)" if layer.startswith("B.") else ""
    return (
        f"({kind} {_quoted(words)} "
        f'(at {_xy(*at)}{f" {turn}" if turn else ""}) (layer "{layer}")\n'
        f"    (effects (font (size {_n(size)} {_n(size * 0.85)}) (thickness {_n(max(0.12, size * 0.16))})){mirrored})\n"
        f"    (tstamp {_id(kind, words, *name)}))"
    )


def _boxes(foot: Footprint) -> list[Box]:
    """What no other part may enter, as KiCad's courtyard; low parts may stand between the module's strips."""
    x0, y0, x1, y1 = foot.room
    return [(x0, y0, x0 + 3.1, y1), (x1 - 3.1, y0, x1, y1)] if foot.name == "module" else [foot.room]


def _footprint(item: Item, place: Place, numbers: dict[str, int]) -> str:
    foot, turn = item.footprint, place.turn
    kind = "smd" if all(pad.drill == 0 for pad in foot.pads) else "through_hole"
    left_out = "" if item.fitted and item.stock != "point" else " exclude_from_pos_files exclude_from_bom"
    out = [
        f'(footprint "ringpull:{foot.name}" (layer "F.Cu") (tedit 0) (tstamp {_id("part", item.ref)})',
        f"  (at {_xy(*place.at)}{f' {turn}' if turn else ''})",
        f"  (descr {_quoted(item.use)})",
        f"  (attr {kind}{left_out})",
    ]
    if item.stock == "point":
        out.append("  " + _text("fp_text reference", item.ref, (0, 0), turn, "F.Fab", 0.8, item.ref))
    for k, (words, at, size) in enumerate(prints.words(item), int(item.stock == "point")):
        head = f"fp_text {'user' if k else 'reference'}"
        out.append("  " + _text(head, words, at, turn, "F.SilkS", size, item.ref, at))
    middle = ((foot.body[0] + foot.body[2]) / 2, (foot.body[1] + foot.body[3]) / 2)
    out.append("  " + _text("fp_text value", shown_value(item), middle, turn, "F.Fab", 0.8, item.ref))
    for stroke in outline(foot) if not foot.round else [one for one in outline(foot) if foot.mark == "a"][-2:]:
        out.append("  " + _line("fp_line", stroke.a, stroke.b, stroke.layer, 0.15, item.ref))
    if foot.round and item.stock != "point":
        centre = middle
        edge = (foot.body[2], middle[1])
        out.append(
            f'  (fp_circle (center {_xy(*centre)}) (end {_xy(*edge)}) (layer "F.SilkS") (width 0.15) (fill none) '
            f"(tstamp {_id('disc', item.ref)}))"
        )
    for x0, y0, x1, y1 in _boxes(foot):
        corners = [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]
        for a, b in zip(corners, corners[1:] + corners[:1]):
            out.append("  " + _line("fp_line", a, b, "F.CrtYd", 0.05, item.ref, "room"))
    x0, y0, x1, y1 = foot.body
    corners = [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]
    for a, b in zip(corners, corners[1:] + corners[:1]):
        out.append("  " + _line("fp_line", a, b, "F.Fab", 0.1, item.ref, "body"))
    for k, pad in enumerate(foot.pads):
        out.append("  " + _pad(item, pad, k, turn, numbers))
    return "\n".join([*out, ")"])


def _pad(item: Item, pad: Pad, k: int, turn: int, numbers: dict[str, int]) -> str:
    kind = "thru_hole" if pad.drill else "smd"
    drill = f" (drill {_n(pad.drill)})" if pad.drill else ""
    net = item.nets.get(pad.name)
    joined = f' (net {numbers[net]} "{net}")' if net else ""
    at = _xy(*pad.at) + (f" {turn}" if turn else "")
    return (
        f'(pad "{pad.name}" {kind} {pad.shape} (at {at}) (size {_xy(*pad.size)}){drill} '
        f"(layers {_BOTH if pad.drill else _UPPER}){joined} (tstamp {_id('pad', item.ref, k)}))"
    )


def _hole(k: int, at: tuple[float, float]) -> str:
    size = _n(shape.HOLE_MM)
    return (
        f'(footprint "ringpull:hole" (layer "F.Cu") (tedit 0) (tstamp {_id("hole", k)})\n  (at {_xy(*at)})\n'
        "  (attr exclude_from_pos_files exclude_from_bom)\n"
        + "  "
        + _text("fp_text reference", f"HOLE{k + 1}", (0, -3), 0, "F.Fab", 0.8, k)
        + "\n  "
        + _text("fp_text value", "M3", (0, 3), 0, "F.Fab", 0.8, k)
        + f'\n  (pad "" np_thru_hole circle (at 0 0) (size {size} {size}) (drill {size}) '
        f'(layers "*.Cu" "*.Mask") (tstamp {_id("hole pad", k)}))\n)'
    )


def _edges() -> list[str]:
    """The outline with round corners, and the slot."""
    w, h, r = shape.WIDTH_MM, shape.HEIGHT_MM, shape.CORNER_MM
    d = r * (1 - 2**-0.5)
    lines = [((r, 0), (w - r, 0)), ((w, r), (w, h - r)), ((w - r, h), (r, h)), ((0, h - r), (0, r))]
    arcs = [
        ((0, r), (d, d), (r, 0)),
        ((w - r, 0), (w - d, d), (w, r)),
        ((w, h - r), (w - d, h - d), (w - r, h)),
        ((r, h), (d, h - d), (0, h - r)),
    ]
    (x, top), (_, low) = shape.SLOT
    half = shape.SLOT_MM / 2
    lines += [((x - half, top), (x - half, low)), ((x + half, low), (x + half, top))]
    arcs += [((x - half, top), (x, top - half), (x + half, top)), ((x + half, low), (x, low + half), (x - half, low))]
    out = [_line("gr_line", a, b, "Edge.Cuts", 0.1, "edge") for a, b in lines]
    for a, m, b in arcs:
        out.append(
            f'(gr_arc (start {_xy(*a)}) (mid {_xy(*m)}) (end {_xy(*b)}) (layer "Edge.Cuts") (width 0.1) '
            f"(tstamp {_id('arc', a, b)}))"
        )
    return out


def _zone(name: str, net: str, number: int, layers: str, box: Box, priority: int) -> str:
    x0, y0, x1, y1 = box
    points = " ".join(f"(xy {_xy(*p)})" for p in ((x0, y0), (x1, y0), (x1, y1), (x0, y1)))
    first = f" (priority {priority})" if priority else ""
    return (
        f'(zone (net {number}) (net_name "{net}") (layers {layers}) (tstamp {_id("zone", name)}) (name "{name}") '
        f"(hatch edge 0.5){first}\n"
        f"  (connect_pads (clearance {_n(rules.POUR_CLEAR_MM)}))\n"
        f"  (min_thickness {_n(rules.POUR_LEAST_MM)}) (filled_areas_thickness no)\n"
        "  (fill yes (thermal_gap 0.4) (thermal_bridge_width 0.6))\n"
        f"  (polygon (pts {points}))\n)"
    )


def _keep_out() -> str:
    x0, y0, x1, y1 = shape.COIL_BOX
    points = " ".join(f"(xy {_xy(*p)})" for p in ((x0, y0), (x1, y0), (x1, y1), (x0, y1)))
    return (
        f'(zone (net 0) (net_name "") (layers "F.Cu" "B.Cu") (tstamp {_id("zone", "coil")}) (name "coil") '
        "(hatch edge 0.5)\n  (connect_pads (clearance 0))\n  (min_thickness 0.25) (filled_areas_thickness no)\n"
        "  (keepout (tracks allowed) (vias allowed) (pads allowed) (copperpour not_allowed) (footprints allowed))\n"
        "  (fill (thermal_gap 0.5) (thermal_bridge_width 0.5))\n"
        f"  (polygon (pts {points}))\n)"
    )


def _prints() -> list[str]:
    """Words on the board that belong to no part."""
    words = [
        ("gr_text", TITLE, (25, 3), "F.SilkS", 1.6),
        ("gr_text", f"revision {REVISION}, Ringpull developers", (24.5, 5.4), "F.SilkS", 0.9),
        ("gr_text", "COIL: 400 V, 5 mm clear", (20, 30.4), "F.SilkS", 1.2),
        ("gr_text", "CERN-OHL-P-2.0", (24.5, 7.2), "F.SilkS", 0.9),
        ("gr_text", "COIL 400 V", (20, 30.4), "B.SilkS", 1.4),
    ]
    return [_text(kind, text, at, 0, layer, size, layer) for kind, text, at, layer, size in words]


def board_text() -> str:
    """The whole .kicad_pcb, pours not yet filled."""
    items, places = board_items.all_items(), read_places()
    nets = board_items.nets(items)
    numbers = {net: k + 1 for k, net in enumerate(nets)}
    out = ["(kicad_pcb (version 20211014) (generator ringpull)", "(general (thickness 1.6))", '(paper "A4")']
    out.append(f'(title_block (title "{TITLE}") (rev "{REVISION}") (comment 1 "CERN-OHL-P-2.0"))')
    out += ["(layers", *(f'  ({number} "{name}" {kind})' for number, name, kind in _LAYERS), ")"]
    out.append("(setup (pad_to_mask_clearance 0.05) (aux_axis_origin 0 100) (grid_origin 0 0))")
    out += ['(net 0 "")', *(f'(net {number} "{net}")' for net, number in numbers.items())]
    out += [_footprint(item, places[item.ref], numbers) for item in items]
    out += [_hole(k, at) for k, at in enumerate(shape.HOLES)]
    out += _edges() + _prints()
    for track in read_tracks():
        a, b = ((x * GRID_MM, y * GRID_MM) for x, y in (track.a, track.b))
        number = numbers[track.net]
        if track.side == "through":
            out.append(
                f"(via (at {_xy(*a)}) (size {_n(rules.VIA_MM)}) (drill {_n(rules.VIA_DRILL_MM)}) "
                f'(layers "F.Cu" "B.Cu") '
                f"(net {number}) (tstamp {_id('via', track.net, a)}))"
            )
        else:
            layer = "F.Cu" if track.side == "upper" else "B.Cu"
            width = rules.CLASSES[track.kind].width_mm
            out.append(
                f'(segment (start {_xy(*a)}) (end {_xy(*b)}) (width {_n(width)}) (layer "{layer}") (net {number}) '
                f"(tstamp {_id('track', track.net, layer, a, b)}))"
            )
    whole = (0.3, 0.3, shape.WIDTH_MM - 0.3, shape.HEIGHT_MM - 0.3)
    out.append(_zone("ground above", "GND", numbers["GND"], '"F.Cu"', whole, 0))
    out.append(_zone("ground below", "GND", numbers["GND"], '"B.Cu"', whole, 0))
    out.append(_zone("analog ground", "AGND", numbers["AGND"], '"B.Cu"', analog_box(), 1))
    out.append(_keep_out())
    return "\n".join([*out, ")", ""])


def project_text() -> str:
    """The .kicad_pro: net classes and what the fabricator can make."""
    nets = board_items.nets(board_items.all_items())

    def one(name: str, kind: rules.NetClass, members: list[str]) -> dict:
        return {
            "name": name, "clearance": kind.clear_mm, "track_width": kind.width_mm, "nets": members,
            "via_diameter": rules.VIA_MM, "via_drill": rules.VIA_DRILL_MM, "microvia_diameter": 0.3,
            "microvia_drill": 0.1, "diff_pair_gap": 0.25, "diff_pair_width": 0.35, "diff_pair_via_gap": 0.25,
            "bus_width": 12, "wire_width": 6, "line_style": 0, "pcb_color": "rgba(0, 0, 0, 0.000)",
            "schematic_color": "rgba(0, 0, 0, 0.000)",
        }  # fmt: skip

    classes = [one("Default", rules.CLASSES["signal"], [])]
    for name, kind in rules.CLASSES.items():
        members = [net for net in nets if rules.class_of(net).name == name]
        if name != "signal" and members:
            classes.append(one(name, kind, members))
    limits = {
        "min_clearance": 0.2, "min_copper_edge_clearance": shape.EDGE_MM - 0.05, "min_hole_clearance": 0.25,
        "min_hole_to_hole": 0.25, "min_through_hole_diameter": 0.3, "min_track_width": 0.25,
        "min_via_annular_width": 0.15, "min_via_diameter": 0.6,
        "solder_mask_clearance": 0.05, "use_height_for_length_calcs": True,
    }  # fmt: skip
    return json.dumps(
        {
            "board": {"design_settings": {"rules": limits, "rule_severities": {"lib_footprint_issues": "ignore"}}},
            "meta": {"filename": "ringpull.kicad_pro", "version": 1},
            "net_settings": {"classes": classes, "meta": {"version": 2}},
        },
        indent=1,
    )


def rules_text() -> str:
    """The .kicad_dru: what net classes alone can't say."""
    return (
        "(version 1)\n"
        '(rule "coil keeps clear of everything else"\n'
        "  (condition \"A.NetClass == 'coil' && B.NetClass != 'coil'\")\n"
        f"  (constraint clearance (min {_n(shape.COIL_MM)}mm)))\n"
        '(rule "coil\'s two wires"\n'
        "  (condition \"A.NetName == 'T5' && B.NetName == 'T6'\")\n"
        f"  (constraint clearance (min {_n(shape.COIL_MM)}mm)))\n"
    )
