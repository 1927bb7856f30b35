"""Where each block stands on the perfboard, how grounds meet, and the distances that matter. Units: holes of 2.54
mm."""

from __future__ import annotations

from dataclasses import dataclass, field

from hardware.circuit.boards import Board
from hardware.circuit.bom import fitted
from hardware.circuit.builds import Build
from hardware.circuit.sheet import BLUE, GREEN, GREY, RED, Sheet
from hardware.circuit.stock import STOCK

PITCH_MM = 2.54
SCALE = 15.0  # drawing units per hole
CLEAR_MM = 5.0
# Holes that a part takes with its legs: by stock, else by kind
_HOLES = {
    "r_power": 21,
    "c_film_hv": 24,
    "c_film": 12,
    "c_elko_big": 64,
    "reg_5v": 48,
    "pmos_200v": 15,
    "z_tvs6v8": 18,
    "d_1n5408": 18,
    "opamp_rr": 30,
    "opto": 24,
    "schmitt_hc14": 48,
    "card_socket": 81,
    "screen": 4,
    "buzzer": 25,
    "switch": 8,
    "jumper": 4,
    "can_phy": 30,
    "can_ctl": 48,
    "crystal": 8,
    "z_can": 8,
}
_HOLES_OF_KIND = {"resistor": 10, "capacitor": 6, "electrolytic": 16, "npn": 9, "pnp": 9, "fuse": 6}


_THICK = ("P", "board", "T1 T2")  # ground wires that carry the supply


@dataclass(frozen=True)
class Area:
    """name: block's prefix, "board", or terminals. left, low, right, top: holes, ends included, y upward."""

    name: str
    left: int
    low: int
    right: int
    top: int
    words: str

    @property
    def holes(self) -> int:
        return (self.right - self.left + 1) * (self.top - self.low + 1)

    @property
    def middle(self) -> tuple[float, float]:
        return (self.left + self.right) / 2, (self.low + self.top) / 2

    def distance(self, other: Area) -> float:
        """Holes that stay free between the two; below 0 where they overlap."""
        across = max(self.left - other.right, other.left - self.right) - 1
        along = max(self.low - other.top, other.low - self.top) - 1
        return max(across, along)


@dataclass(frozen=True)
class Layout:
    """size: of the perfboard in holes. star: where all grounds meet. apart: areas that keep CLEAR_MM of every other."""

    build: str
    size: tuple[int, int]
    areas: tuple[Area, ...]
    star: tuple[int, int]
    slot: tuple[tuple[float, float], tuple[float, float]] | None = None
    apart: tuple[str, ...] = ()
    notes: tuple[str, ...] = field(default_factory=tuple)


_NOTES = (
    "Star: one thick wire from T2 and one from every block meet at P-C2's minus leg; no block's ground passes through "
    "another.",
    "AGND: RP2040: its own pin, a wire to each analog block, joined to ground on the board alone. ESP32: one wire to "
    "the star.",
    "Q1's tab is live (12 V), U1's is ground: 5 mm of air around each, no common heat sink. USB socket at the edge.",
)
MINIMUM = Layout(
    "minimum",
    (59, 35),
    (
        Area("T1 T2", 0, 2, 3, 6, "T1 T2"),
        Area("P", 6, 0, 26, 14, "P supply"),
        Area("board", 6, 22, 26, 32, "board on sockets: USB at the left, converter's pins at the right"),
        Area("S", 28, 22, 38, 34, "S card, at the edge"),
        Area("V", 41, 27, 47, 34, "V clamps"),
        Area("A0", 41, 13, 53, 24, "A0 lambda, close to the converter's pins"),
        Area("W0", 48, 25, 53, 26, "W0"),
        Area("G", 49, 28, 53, 34, "G screens"),
        Area("E", 41, 0, 53, 9, "E tach"),
        Area("B", 29, 0, 38, 11, "B button and lamp"),
        Area("T3 T4 T14", 55, 17, 58, 22, "T3 T4 T14"),
        Area("T5", 55, 2, 58, 5, "T5"),
        Area("T15-T18", 29, 13, 37, 16, "T15 to T18"),
    ),
    (24, 13),
    notes=_NOTES,
)
FULL = Layout(
    "full",
    (62, 46),
    (
        Area("T1 T2", 0, 2, 3, 6, "T1 T2"),
        Area("P", 5, 0, 25, 14, "P supply"),
        Area("H", 0, 18, 11, 29, "H reservoir"),
        Area("R", 13, 20, 21, 38, "R 5 V for sensors"),
        Area("T12 T13", 0, 33, 3, 37, "T12 T13"),
        Area("Z", 4, 30, 11, 38, "Z buzzer"),
        Area("board", 23, 28, 43, 38, "board on sockets: USB at the left, converter's pins at the right"),
        Area("S", 23, 16, 34, 27, "S card"),
        Area("D", 36, 19, 39, 26, "D screen"),
        Area("V", 40, 19, 46, 26, "V clamps"),
        Area("A0", 45, 27, 57, 38, "A0 lambda"),
        Area("T3 T4 T14", 58, 33, 61, 38, "T3 T4 T14"),
        Area("T7 T8 T11", 58, 27, 61, 32, "T7 T8 T11"),
        Area("A1", 47, 17, 53, 26, "A1 pressure"),
        Area("A2", 54, 11, 61, 26, "A2 throttle"),
        Area("A3", 38, 10, 45, 18, "A3 battery"),
        Area("G", 47, 12, 52, 16, "G screens"),
        Area("B", 27, 0, 36, 11, "B button and lamp"),
        Area("T15-T18", 27, 13, 35, 15, "T15 to T18"),
        Area("E logic", 38, 0, 47, 8, "E: 74HC14 and opto, logic side"),
        Area("E coil", 50, 0, 61, 8, "E: coil side, T5 T6"),
        Area("K", 22, 40, 57, 45, "K bus: controller beside the board, transceiver beside its terminals"),
        Area("T23 T24 T25", 58, 39, 61, 45, "T23 T24 T25"),
    ),
    (23, 13),
    ((48.5, -0.5), (48.5, 9.0)),
    ("E coil",),
    (
        *_NOTES,
        "Coil corner: 5 mm free all round, copper under it removed, a saw cut under the opto-coupler; T5, T6 apart.",
    ),
)
ALL = {layout.build: layout for layout in (MINIMUM, FULL)}


def needed(build: Build, board: Board) -> dict[str, int]:
    """Holes that each block's parts on the perfboard take, by prefix."""
    out = {}
    for use in fitted(build, board):
        chips, count = set(), 0
        for part in use.data.parts:
            stock = STOCK[part.stock]
            if part.place or (stock.kind == "box" and part.ref[:2] in chips):
                continue  # in the car, or another gate of the same chip
            chips.add(part.ref[:2])
            count += _HOLES.get(part.stock, _HOLES_OF_KIND.get(stock.kind, 10))
        out[use.prefix] = count
    return out


def _at(layout: Layout, x: float, y: float) -> tuple[float, float]:
    return 40 + SCALE * x, 70 + SCALE * (layout.size[1] - 1 - y)


def _edge(area: Area, star: tuple[int, int]) -> tuple[float, float]:
    """The point of the area nearest the star."""
    return min(max(star[0], area.left), area.right), min(max(star[1], area.low), area.top)


def svg(layout: Layout, title: str) -> str:
    """The perfboard from the side of the parts."""
    wide, high = layout.size
    sheet = Sheet(80 + SCALE * (wide - 1), 100 + SCALE * (high - 1) + 22 * (len(layout.notes) + 1))
    sheet.text((30, 26), f"{title}: where the blocks stand, seen from the side of the parts", 17)
    sheet.text((30, 46), f"perfboard {wide} x {high} holes of 2.54 mm; green: ground wires to the star", 12)
    left, top = _at(layout, -0.7, high - 0.3)
    sheet.box((left, top), (SCALE * (wide + 0.4), SCALE * (high + 0.4)), GREY, "#fbf7ee")
    for area in layout.areas:
        _area(sheet, layout, area)
    for area in layout.areas:
        if not area.name.startswith("T") and area.name not in (*_THICK, "E coil"):
            sheet.line([_at(layout, *layout.star), _at(layout, *_edge(area, layout.star))], GREEN, 1.6)
    for name in _THICK:
        area = next(a for a in layout.areas if a.name == name)
        sheet.line([_at(layout, *layout.star), _at(layout, *_edge(area, layout.star))], GREEN, 3.4)
    sheet.dot(_at(layout, *layout.star), 9, GREEN)
    x, y = _at(layout, *layout.star)
    sheet.text((x - 12, y - 8), "star: minus leg of P-C2", 12, "end", GREEN)
    if layout.slot:
        _slot(sheet, layout)
    for k, note in enumerate(layout.notes):
        sheet.text((30, 100 + SCALE * (high - 1) + 22 * (k + 0.6)), note, 12)
    return sheet.svg()


def _area(sheet: Sheet, layout: Layout, area: Area) -> None:
    corner = _at(layout, area.left - 0.4, area.top + 0.4)
    size = (SCALE * (area.right - area.left + 0.8), SCALE * (area.top - area.low + 0.8))
    apart = area.name in layout.apart
    if apart:
        free = CLEAR_MM / PITCH_MM
        around = (size[0] + SCALE * free, size[1] + SCALE * free)
        sheet.box(_at(layout, area.left - 0.4 - free, area.top + 0.4 + free), around, RED, "none", "5 4")
    terminal = area.name.startswith("T")
    colour, fill = (RED, "#ffecec") if apart else (BLUE, "#eef3fb") if terminal else ("#333333", "white")
    sheet.box(corner, size, colour, fill)
    words = [area.words]
    if size[0] < 7.5 * len(area.words):
        words = area.words.split(" " if terminal else ", ")
    for k, word in enumerate(words):
        sheet.text((corner[0] + 5, corner[1] + 16 + 15 * k), word, 11 if terminal else 12)


def _slot(sheet: Sheet, layout: Layout) -> None:
    a, b = layout.slot
    sheet.line([_at(layout, *a), _at(layout, *b)], RED, 6)
    x, y = _at(layout, b[0], b[1])
    sheet.text((x + 8, y + 2), "saw cut under the opto-coupler", 11, "start", RED)
