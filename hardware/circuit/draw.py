"""A block's data -> its schematic as SVG."""

from __future__ import annotations

import re

import schemdraw
from schemdraw import elements as elm

from hardware.circuit import geometry
from hardware.circuit.model import Block, Part
from hardware.circuit.stock import STOCK
from hardware.circuit.symbols import TWO_PINS, ChannelFet, Transistor

_SMALL = 10
SHORT = {  # what stands beside the symbol where there is no value
    "d_1n4007": "1N4007",
    "d_1n4148": "1N4148",
    "d_1n5408": "1N5408",
    "d_1n5819": "1N5819",
    "d_bat85": "BAT85",
    "z_12": "12 V",
    "z_27": "27 V",
    "z_62": "62 V",
    "z_tvs6v8": "6.8 V 600 W",
    "npn_small": "NPN",
    "pnp_small": "PNP",
    "pnp_300v": "PNP 300 V",
    "pmos_200v": "P-MOS 200 V",
    "reg_5v": "low-drop 5 V 1 A",
    "ref_3v": "3.0 V, 0.5 %",
    "z_can": "24 V",
    "ptc_100ma": "0.1 A PTC",
    "ptc_750ma": "0.75 A PTC",
    "fuse_1a": "1 A",
    "schmitt_hc14": "74HC14",
    "opamp_rr": "op-amp, rail to rail",
    "opto": "opto-coupler",
    "can_phy": "CAN transceiver",
    "can_ctl": "MCP2518FD",
    "can_ctl_2515": "MCP2515",
    "card_socket": "micro-SD socket",
    "screen": "OLED, I2C",
    "buzzer": "5 V",
    "led": "LED",
    "button": "button",
    "jumper": "jumper",
    "jumper3": "jumper",
    "adc_spi": "converter",
    "switch": "switch",
}
_OMEGA = {"resistor": "\N{GREEK CAPITAL LETTER OMEGA}", "capacitor": "F", "electrolytic": "F", "crystal": "Hz"}


def value_text(part: Part) -> str:
    """ "6.8 kΩ", "470 nF", or the short name of a part without a value."""
    stock = STOCK[part.stock]
    if not part.value:
        return SHORT[part.stock]
    digits = part.value.rstrip("pnumkM")
    prefix = part.value[len(digits) :].replace("u", "\N{MICRO SIGN}")
    extra = {"r_precise": " 0.1 %", "r_power": " 3 W", "r_fusible": " fusible"}.get(part.stock, "")
    return f"{digits} {prefix}{_OMEGA[stock.kind]}{extra}"


def svg(block: Block) -> str:
    """The drawing. The same data give the same bytes."""
    schemdraw.use("svg")
    d = schemdraw.Drawing(show=False)
    d.config(fontsize=11, unit=3, margin=0.4, lw=1.4)
    for wire in block.wires:
        for a, b in zip(wire, wire[1:]):
            d.add(elm.Line().at(a).to(b))
    for part in block.parts:
        _part(d, part)
    for at in geometry.dots(block):
        d.add(elm.Dot(radius=0.09).at(at))
    for at in block.grounds:
        d.add(elm.Ground().at(at).theta(0))
    for at in block.analog_grounds:
        d.add(elm.GroundSignal().at(at).theta(0))
        _text(d, (at[0] + 0.4, at[1] - 0.45), "AGND", "left", 8)
    for net, at, side in block.rails:
        _rail(d, net, at, side)
    for _, at, side, text in block.ports:
        _port(d, at, side, text)
    for frame, text in block.frames:
        _frame(d, frame, text)
    left = min(at[0] for at, _, _ in geometry.anchors(block)) - 2
    points = [at for at, _, _ in geometry.anchors(block)] + [at for wire in block.wires for at in wire]
    points += [at for (a, b, c, e), _ in block.frames for at in ((a, b), (c, e))]
    top = max(at[1] for at in points) + 2.4
    low = min(at[1] for at in points) - 1.9
    _text(d, (left, top), block.title, "left", 15)
    if block.note:
        _text(d, (left, low), block.note, "left", _SMALL)
    return _on_white(d.get_imagedata("svg").decode())


def _port(d, at, side, text):
    x, y = at
    d.add(elm.Dot(open=True, radius=0.12).at(at))
    if side in ("up", "down"):
        _text(d, (x, y + (0.45 if side == "up" else -0.45)), text, "center", _SMALL)
    else:
        _text(d, (x - 0.3, y) if side == "left" else (x + 0.3, y), text, "right" if side == "left" else "left", 12)


def _frame(d, frame, text):
    left, low, right, top = frame
    corners = [(left, low), (right, low), (right, top), (left, top), (left, low)]
    for a, b in zip(corners, corners[1:]):
        d.add(elm.Line(lw=1.0, ls="--", color="#a00000").at(a).to(b))
    d.add(elm.Label().at((left, top + 0.2)).theta(0).label(text, halign="left", fontsize=_SMALL, color="#a00000"))


def _on_white(text: str) -> str:
    """With a white ground of its own, so that it can be read on a dark page too."""
    x, y, width, height = re.search(r'viewBox="(\S+) (\S+) (\S+) (\S+)"', text).groups()
    at = text.index(">", text.index("<svg")) + 1
    ground = f'<rect x="{x}" y="{y}" width="{width}" height="{height}" fill="white"/>'
    return text[:at] + ground + text[at:] + "\n"


def _text(d, at, text, align, size, valign="center"):
    if valign == "center":
        at = (at[0], at[1] - 0.12)  # schemdraw centres a little high
    d.add(elm.Label().at(at).theta(0).label(text, halign=align, valign=valign, fontsize=size))


def _rail(d, net, at, side):
    x, y = at
    dx, dy = {"up": (0, 0.6), "left": (-0.6, 0), "right": (0.6, 0)}[side]
    d.add(elm.Line().at(at).to((x + dx, y + dy)))
    if side == "up":
        d.add(elm.Line().at((x - 0.3, y + 0.6)).to((x + 0.3, y + 0.6)))
        _text(d, (x, y + 0.85), net, "center", 11)
    else:
        d.add(elm.Line().at((x + dx, y - 0.25)).to((x + dx, y + 0.25)))
        _text(d, (x + dx * 1.5, y), net, "right" if side == "left" else "left", 11)


def _part(d, part: Part) -> None:
    kind = STOCK[part.stock].kind
    if kind in TWO_PINS:
        _two_pins(d, part, kind)
    elif kind in ("npn", "pnp"):
        upper, lower = ("c", "e") if kind == "npn" else ("e", "c")
        x, y = (part.at[upper][0] + part.at[lower][0]) / 2, (part.at[upper][1] + part.at[lower][1]) / 2
        d.add(Transistor(kind, part.at["b"][0] > x).at((x, y)).theta(0))
        _text(d, (x + 0.55, y), f"{part.ref} {value_text(part)}", "left", _SMALL)
    elif kind == "pmos":
        d.add(ChannelFet().at(part.at["s"]).theta(0))
        x, y = part.at["s"]
        _text(d, (x + 1.5, y + 1.1), f"{part.ref} {value_text(part)}", "center", _SMALL)
    else:
        _box(d, part)


def _two_pins(d, part: Part, kind: str) -> None:
    a, b = part.at["a"], part.at["b"]
    d.add(TWO_PINS[kind]().at(a).to(b))
    x, y = (a[0] + b[0]) / 2, (a[1] + b[1]) / 2
    if a[1] == b[1]:
        up = 0.45 if kind in ("resistor", "fuse") else 0.6
        _text(d, (x, y + up), f"{part.ref} {value_text(part)}", "center", _SMALL, "bottom")
    else:
        side = 1 if part.label == "right" else -1
        off = (
            0.4
            if kind in ("resistor", "zener", "diode", "schottky", "jumper", "suppressor")
            else 1.1
            if kind == "led"
            else 0.55
        )
        align = "left" if side > 0 else "right"
        off += 0.15 if side < 0 else 0
        _text(d, (x + side * off, y + 0.24), part.ref, align, _SMALL)
        _text(d, (x + side * off, y - 0.24), value_text(part), align, _SMALL)


def _box(d, part: Part) -> None:
    left, low, right, top = part.box
    corners = [(left, low), (right, low), (right, top), (left, top), (left, low)]
    for a, b in zip(corners, corners[1:]):
        d.add(elm.Line(lw=1.8).at(a).to(b))
    for pin, (x, y) in part.at.items():
        if x <= left:
            _text(d, (left + 0.15, y), pin, "left", _SMALL)
        elif x >= right:
            _text(d, (right - 0.25, y), pin, "right", _SMALL)
        else:
            _text(d, (x, low + 0.3 if y <= low else top - 0.35), pin, "center", _SMALL)
    name = f"{part.ref} {value_text(part)}"
    if part.label == "right":
        _text(d, (right + 0.3, top - 0.4), name, "left", _SMALL)
    else:
        _text(d, ((left + right) / 2, top + 0.35), name, "center", _SMALL)
