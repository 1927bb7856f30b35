"""Holes, copper and outline of every part, in millimetres from the part's first pad, y downward.

Pads carry the names of the circuit's pins. Every hole lies on the grid of 0.635 mm on which tracks run. Sizes are those
common to the class of part (from memory; compare the data sheet of what you buy).
"""

from __future__ import annotations

from dataclasses import dataclass

GRID_MM = 0.635
CARD_PINS = ("3V3", "CS", "MOSI", "SCK", "MISO", "GND")  # of the card's carrier, from pin 1 on
SCREEN_PINS = ("GND", "VCC", "SCL", "SDA")

Point = tuple[float, float]
Box = tuple[float, float, float, float]


@dataclass(frozen=True)
class Pad:
    """size: of the copper. drill: hole, 0 for a pad on the upper side alone. shape: "circle", "oval" or "rect"."""

    name: str
    at: Point
    size: Point
    drill: float
    shape: str = "circle"


@dataclass(frozen=True)
class Footprint:
    """body: the part itself, drawn on the board. room: what no other part may enter. round: drawn as a disc.

    mark: where the ring, plus or pin 1 is drawn, "" where both ends are alike. height: of the part above the board.
    keep_out: a box below the part that stays free of tracks of other nets, on the upper side.
    """

    name: str
    pads: tuple[Pad, ...]
    body: Box
    room: Box
    round: bool = False
    mark: str = ""
    height: float = 3.0


def _grown(box: Box, by: float) -> Box:
    return (box[0] - by, box[1] - by, box[2] + by, box[3] + by)


def _pads(names: tuple[str, ...], pitch: float, size: float | Point, drill: float, first: str = "rect"):
    """A row of pads to the right, the first one square."""
    copper = size if isinstance(size, tuple) else (size, size)
    rest = "oval" if copper[0] != copper[1] else "circle"
    return tuple(Pad(name, (k * pitch, 0.0), copper, drill, first if k == 0 else rest) for k, name in enumerate(names))


def _two(name, pitch, body, pad, drill, mark="", height=3.0, round=False, room=None):
    """Two legs; body: length and width, in the middle between them."""
    middle = pitch / 2
    outline = (middle - body[0] / 2, -body[1] / 2, middle + body[0] / 2, body[1] / 2)
    left = min(outline[0], -pad / 2) - 0.2
    half = max(body[1], pad) / 2 + 0.1
    shape = "rect" if mark == "a" else "circle"
    pads = (Pad("a", (0.0, 0.0), (pad, pad), drill, shape), Pad("b", (pitch, 0.0), (pad, pad), drill, "circle"))
    if mark == "b":
        pads = (pads[0], Pad("b", (pitch, 0.0), (pad, pad), drill, "rect"))
    return Footprint(name, pads, outline, room or (left, -half, pitch - left, half), round, mark, height)


def _row(name, pins, pitch, pad, drill, body, height=3.0, mark="1"):
    return Footprint(name, _pads(pins, pitch, pad, drill), body, _grown(body, 0.2), False, mark, height)


def _dip(name: str, count: int) -> Footprint:
    """A chip in its socket; pin 1 upper left, counted against the clock, rows 7.62 mm apart."""
    half = count // 2
    pads = []
    for k in range(count):
        at = (0.0, 2.54 * k) if k < half else (7.62, 2.54 * (count - 1 - k))
        pads.append(Pad(str(k + 1), at, (1.6, 1.6), 0.8, "circle" if k else "rect"))
    body = (1.0, -1.5, 6.6, 2.54 * (half - 1) + 1.5)
    return Footprint(name, tuple(pads), body, (-1.1, body[1] - 0.2, 8.72, body[3] + 0.2), False, "1", 8.0)


def _module() -> Footprint:
    """The RP2040 board on two socket strips; its USB socket points up (to negative y).

    Its pads leave room for a track between two of them.
    """
    left = [Pad(str(k + 1), (0.0, 2.54 * k), (1.6, 1.6), 1.0, "circle" if k else "rect") for k in range(20)]
    right = [Pad(str(40 - k), (17.78, 2.54 * k), (1.6, 1.6), 1.0) for k in range(20)]
    return Footprint(
        "module", (*left, *right), (-1.61, -1.37, 19.39, 49.63), (-1.7, -2.7, 19.48, 49.8), False, "1", 12.0
    )


def _plug(ways: int, pitch: float, pad: float, drill: float) -> Footprint:
    """A pluggable terminal whose mouth points down (to positive y): it stands at the lower edge before it is turned."""
    pins = tuple(str(k + 1) for k in range(ways))
    beside = 2.6 if pitch < 5 else 2.8 if pitch < 6 else 4.2
    back, mouth = (1.3, 8.0) if pitch < 5 else (2.0, 10.0)
    body = (-beside, -back, (ways - 1) * pitch + beside, mouth)
    return Footprint(f"plug_{ways}", _pads(pins, pitch, pad, drill), body, _grown(body, 0.1), False, "1", 10.0)


_TO92 = ("e", "b", "c")  # 2N3904, 2N3906, MPSA92 with the flat side towards you; BC547 and BC557 are turned round
_AXIAL = {"pad": 1.6, "drill": 0.8}
FOOTPRINTS = {
    one.name: one
    for one in (
        _two("axial_7", 7.62, (5.4, 2.4), **_AXIAL),
        _two("axial_10", 10.16, (6.5, 2.5), height=8.0, **_AXIAL),  # it may burn, so it stands 5 mm off the board
        _two("axial_20", 20.32, (15.5, 5.5), 2.0, 1.0, height=6.0),
        _two("diode_7", 7.62, (5.4, 2.4), mark="b", **_AXIAL),
        _two("diode_10", 10.16, (6.6, 2.7), 1.9, 1.0, mark="b"),
        _two("diode_12", 12.7, (7.6, 3.6), 2.2, 1.2, mark="b", height=4.0),
        _two("diode_15", 15.24, (9.5, 5.4), 2.5, 1.5, mark="b", height=6.0),
        _two("disc_5", 5.08, (5.0, 2.6), height=5.0, **_AXIAL),
        _two("block_5", 5.08, (7.3, 4.5), height=9.0, **_AXIAL),
        _two("big_5", 5.08, (7.7, 5.2), height=9.0, **_AXIAL),
        _two("fuse_5", 5.08, (7.5, 3.1), height=11.0, **_AXIAL),
        _two("film_15", 15.24, (18.0, 8.5), 2.0, 1.0, height=14.5),
        _two("can_5", 2.54, (5.0, 5.0), mark="a", height=11.0, round=True, **_AXIAL),
        _two("can_10", 5.08, (10.0, 10.0), 1.8, 0.9, mark="a", height=17.0, round=True),
        _two("can_18", 7.62, (18.0, 18.0), 2.4, 1.2, mark="a", height=37.0, round=True),
        Footprint(
            "jumper", _pads(("a", "b"), 2.54, 1.7, 1.0), (-1.3, -2.5, 3.84, 1.2), (-1.4, -2.6, 3.94, 1.3), height=8.0
        ),
        _row("to92", _TO92, 2.54, 1.6, 0.8, (-0.6, -2.4, 5.68, 2.2), 6.0),
        Footprint(
            "to92_reference",
            (
                Pad("a", (0.0, 0.0), (1.6, 1.6), 0.8, "rect"),
                Pad("b", (2.54, 0.0), (1.6, 1.6), 0.8),
                Pad("a", (5.08, 0.0), (1.6, 1.6), 0.8),
            ),
            (-0.6, -2.4, 5.68, 2.2),
            (-1.0, -2.6, 6.08, 2.4),
            False,
            "1",
            6.0,
        ),
        Footprint(
            "to220_fet",  # its tab is live: air around it
            _pads(("g", "d", "s"), 2.54, (1.7, 2.3), 1.2),
            (-2.7, -3.3, 7.78, 1.5),
            (-4.9, -4.5, 9.98, 3.7),
            False,
            "1",
            20.0,
        ),
        _row("to220_regulator", ("in", "gnd", "out"), 2.54, (1.7, 2.3), 1.2, (-7.0, -8.0, 12.08, 1.6), 25.0),
        _row("jumper_3", ("1", "2", "3"), 2.54, 1.7, 1.0, (-1.3, -2.5, 6.38, 1.2), 8.0),
        _row("slide", ("x", "a", "b"), 2.54, 1.6, 0.9, (-2.0, -2.0, 7.08, 2.0), 6.0),
        _two("sounder", 7.62, (12.0, 12.0), 1.8, 0.9, mark="a", height=9.5, round=True),
        _row("card", CARD_PINS, 2.54, 1.7, 1.0, (-3.0, -1.4, 15.7, 17.0), 12.0),
        _row("screen", SCREEN_PINS, 2.54, 1.7, 1.0, (-1.3, -2.6, 8.92, 2.6), 8.0),
        Footprint(
            "opto",
            tuple(
                Pad(name, at, (1.6, 1.6), 0.8, "rect" if name == "1" else "circle")
                for name, at in (("1", (0.0, 0.0)), ("2", (0.0, 2.54)), ("3", (7.62, 2.54)), ("4", (7.62, 0.0)))
            ),
            (1.0, -1.2, 6.6, 3.74),
            (-1.1, -1.5, 8.72, 4.04),
            False,
            "1",
            5.0,
        ),
        Footprint(
            "so8",
            tuple(
                Pad(name, at, (1.8, 0.6), 0.0, "rect")
                for name, at in zip(
                    ("TXD", "GND", "VCC", "RXD", "VIO", "CANL", "CANH", "S"),
                    (*((0.0, 1.27 * k) for k in range(4)), *((5.08, 1.27 * k) for k in (3, 2, 1, 0))),
                )
            ),
            (1.1, -1.0, 3.98, 4.8),
            (-1.1, -0.8, 6.2, 4.6),
            False,
            "1",
            2.0,
        ),
        Footprint(
            "so14",
            tuple(
                Pad(name, at, (1.8, 0.6), 0.0, "rect")
                for name, at in zip(
                    ("TXCAN", "RXCAN", "3", "INT", "OSC2", "OSC1", "VSS", "8", "9", "SCK", "SDI", "SDO", "CS", "VDD"),
                    (*((0.0, 1.27 * k) for k in range(7)), *((5.08, 1.27 * k) for k in range(6, -1, -1))),
                )
            ),
            (1.1, -0.5, 3.98, 8.12),
            (-1.1, -0.8, 6.2, 8.42),
            False,
            "1",
            2.0,
        ),
        _two("crystal", 5.08, (11.2, 4.8), height=4.0, **_AXIAL),
        Footprint(
            "sod323",
            (Pad("a", (0.0, 0.0), (0.9, 0.9), 0.0, "rect"), Pad("b", (2.54, 0.0), (0.9, 0.9), 0.0, "rect")),
            (0.4, -0.7, 2.14, 0.7),
            (-0.7, -2.2, 3.24, 0.9),
            False,
            "",
            1.0,
        ),
        Footprint(
            "point",
            (Pad("1", (0.0, 0.0), (1.6, 1.6), 0.9),),
            (-0.8, -0.8, 0.8, 0.8),
            (-1.5, -2.0, 1.5, 0.9),
            True,
            "",
            4.0,
        ),
        *(_dip(f"dip{n}", n) for n in (8, 14, 16)),
        _module(),
        *(_plug(n, 3.81, 2.2, 1.2) for n in (2, 3, 4)),
    )
}
for _name, _wide in (
    ("plug_coil", _plug(2, 7.62, 2.6, 1.4)),
    ("plug_power", _plug(2, 5.08, 2.6, 1.4)),
):
    FOOTPRINTS[_name] = Footprint(_name, _wide.pads, _wide.body, _wide.room, False, "1", 12.0)

OF_STOCK = {
    "r": "axial_7",
    "r_precise": "axial_7",
    "r_fusible": "axial_10",
    "r_power": "axial_20",
    "c": "disc_5",
    "c_np0": "disc_5",
    "c_film": "block_5",
    "c_film_hv": "film_15",
    "c_big": "big_5",
    "c_elko": "can_5",  # the 470 uF one: can_10
    "c_elko_big": "can_18",
    "d_1n4007": "diode_10",
    "d_1n5408": "diode_15",
    "d_1n4148": "diode_7",
    "d_1n5819": "diode_10",
    "d_bat85": "diode_7",
    "z_12": "diode_7",
    "z_27": "diode_7",
    "z_62": "diode_10",
    "z_tvs6v8": "diode_12",
    "z_can": "sod323",
    "ref_3v": "to92_reference",
    "npn_small": "to92",
    "pnp_small": "to92",
    "pnp_300v": "to92",
    "pmos_200v": "to220_fet",
    "reg_5v": "to220_regulator",
    "ptc_100ma": "fuse_5",
    "opto": "opto",
    "can_phy": "so8",
    "can_ctl": "so14",
    "crystal": "crystal",
    "adc_spi": "dip16",
    "schmitt_hc14": "dip14",
    "opamp_rr": "dip8",
    "jumper": "jumper",
    "jumper3": "jumper_3",
    "switch": "slide",
    "buzzer": "sounder",
    "card_socket": "card",
    "screen": "screen",
    "board_rp2": "module",
    "plug_2": "plug_2",
    "plug_3": "plug_3",
    "plug_4": "plug_4",
    "plug_coil": "plug_coil",
    "plug_power": "plug_power",
    "point": "point",
}
_LARGER = {("c_elko", "470u"): "can_10"}
_PIN_NAMES = {"sounder": {"a": "+", "b": "-"}}


def footprint(stock: str, value: str) -> Footprint:
    """The footprint of a part; its pads carry the circuit's pin names."""
    found = FOOTPRINTS[_LARGER.get((stock, value), OF_STOCK[stock])]
    names = _PIN_NAMES.get(found.name)
    if not names:
        return found
    pads = tuple(Pad(names[pad.name], pad.at, pad.size, pad.drill, pad.shape) for pad in found.pads)
    return Footprint(found.name, pads, found.body, found.room, found.round, found.mark, found.height)
