"""Words printed on the board beside each part, for whoever solders and for whoever measures."""

from __future__ import annotations

from hardware.board.contents import CABLES
from hardware.board.footprints import Point
from hardware.board.items import Item
from hardware.circuit.draw import SHORT

_SMALL = 0.75
# Of types with a class name: what whoever solders looks for
_TYPES = {
    "opamp_rr": "MCP6022", "schmitt_hc14": "74HC14", "opto": "PC817", "adc_spi": "MCP3208", "can_phy": "CAN",
    "can_ctl": "MCP2518FD",
    "ref_3v": "3.0 V", "ptc_100ma": "0.1 A", "z_tvs6v8": "6.8 V", "pmos_200v": "IRF9640", "reg_5v": "LM2940-5",
    "pnp_300v": "MPSA92", "d_1n5408": "1N5408", "buzzer": "5 V", "switch": "", "jumper": "", "jumper3": "",
}  # fmt: skip
# Footprint -> places of name and value, size of the letters; the others have both in their middle
_PLACES: dict[str, tuple[Point, Point, float]] = {
    "to92": ((2.54, -1.55), (2.54, 1.45), _SMALL),
    "to92_reference": ((2.54, -1.55), (2.54, 1.45), _SMALL),
    "block_5": ((2.54, -1.5), (2.54, 1.5), 0.8),
    "big_5": ((2.54, -1.7), (2.54, 1.7), 0.8),
    "can_5": ((1.27, -1.55), (1.27, 1.55), _SMALL),
    "can_10": ((2.54, -2.6), (2.54, 2.6), 1.0),
    "can_18": ((3.81, -4.0), (3.81, 4.0), 1.2),
    "sounder": ((3.81, -3.0), (3.81, 3.0), 1.0),
    "film_15": ((7.62, -1.2), (7.62, 1.2), 1.0),
    "axial_20": ((10.16, -0.9), (10.16, 0.9), 1.0),
    "diode_15": ((7.62, -0.9), (7.62, 0.9), 1.0),
    "opto": ((0.0, -2.3), (0.0, 4.9), 0.8),
    "so14": ((2.54, 3.81), (2.54, -1.15), 0.7),
    "sod323": ((1.27, -1.5), (1.27, -1.5), 0.7),
    "to220_fet": ((2.54, -2.3), (2.54, 2.5), 0.9),
    "to220_regulator": ((2.54, -6.3), (2.54, -4.6), 1.0),
    "jumper": ((1.27, -1.8), (1.27, -1.8), 0.7),
    "jumper_3": ((2.54, -1.8), (2.54, -1.8), 0.8),
    "slide": ((2.54, -1.4), (2.54, 1.4), 0.7),
    "card": ((6.35, 8.0), (6.35, 10.0), 1.0),
    "screen": ((3.81, -1.8), (3.81, -1.8), 0.8),
    "module": ((8.9, 0.2), (8.9, 1.9), 1.0),
    "plug_2": ((1.9, 4.3), (1.9, 6.2), 1.0),
    "plug_3": ((3.81, 4.3), (3.81, 6.2), 1.0),
    "plug_4": ((5.7, 4.3), (5.7, 6.2), 1.0),
    "plug_coil": ((3.81, 5.5), (3.81, 7.5), 1.0),
    "plug_power": ((2.54, 5.5), (2.54, 7.5), 1.0),
    "point": ((0.0, -1.45), (0.0, -1.45), _SMALL),
}
_LABEL_MM, _LABEL_APART_MM, _NUMBER_IN_MM = 0.8, 0.55, 0.4  # numbers behind a cable's socket
POINTS = {"power_fail": "PF", "button": "BTN", "VBOARD": "VBRD"}


def _value(item: Item) -> str:
    """A value as it is printed: "6.8k", "1N4148", a cable's name."""
    if item.value:
        return item.value
    if item.stock in _TYPES:
        return _TYPES[item.stock]
    if item.stock.startswith("plug"):
        return item.use
    return SHORT.get(item.stock, "")


def words(item: Item) -> list[tuple[str, Point, float]]:
    """(words, place in the footprint's millimetres, size) of all that is printed for a part; its name first."""
    foot = item.footprint
    if item.stock == "point":
        name = item.ref.removeprefix("TP-")
        return [(POINTS.get(name, name), _PLACES["point"][0], _SMALL)]
    middle = ((foot.body[0] + foot.body[2]) / 2, (foot.body[1] + foot.body[3]) / 2)
    if foot.mark == "b":  # clear of the ring
        middle = (middle[0] - 0.3, middle[1])
    usual = ((middle[0], middle[1] - 0.5), (middle[0], middle[1] + 0.5), _SMALL)
    name_at, value_at, size = _PLACES.get(foot.name, usual)
    out = [(item.ref, name_at, size)]
    value = {"module": "USB at the edge", "card": "card"}.get(foot.name, _value(item))
    if value and value_at != name_at:
        out.append((value, value_at, size))
    if foot.name in ("card", "screen"):
        out += [(pad.name, (pad.at[0], 1.75), 0.65) for pad in foot.pads]
    return [*out, *behind(item)] if foot.name.startswith("plug") else out


def behind(item: Item) -> list[tuple[str, Point, float]]:
    """What stands behind a cable's socket: its number at the end of pin 1, each terminal's at its pin. Still read when
    the socket is soldered in and the plug is on; all else that is printed for it lies below it."""
    foot = item.footprint
    back = foot.body[1] - _LABEL_APART_MM
    out = [(item.ref, (foot.body[0] + _NUMBER_IN_MM, back), _LABEL_MM)]
    return out + [(_terminal(item, pad.name), (pad.at[0], back), _LABEL_MM) for pad in foot.pads]


def _terminal(item: Item, pad: str) -> str:
    cable = next(cable for cable in CABLES if cable.ref == item.ref)
    return cable.ways[int(pad) - 1]
