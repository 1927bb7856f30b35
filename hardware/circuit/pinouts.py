"""Which leg is which of every transistor, regulator and chip, drawn as one holds it. From memory of makers' data
sheets."""

from __future__ import annotations

from dataclasses import dataclass

from hardware.circuit.sheet import BLACK, GREY, RED, Sheet


@dataclass(frozen=True)
class Pinout:
    """names: parts that share it. stock: key of stock.STOCK. shape: "to92", "to220", "dip", "axial", "round".

    legs: of to92 and to220 from left to right, flat side or print towards you, legs down; of dip pin 1 first, counted
    against the clock seen from above; of axial and round the marked end first. note: what goes wrong.
    """

    names: str
    stock: str
    shape: str
    legs: tuple[str, ...]
    note: str = ""


ALL = (
    Pinout("2N3904", "npn_small", "to92", ("emitter", "base", "collector")),
    Pinout("BC547", "npn_small", "to92", ("collector", "base", "emitter"), "mirrored: turn it round"),
    Pinout("2N3906", "pnp_small", "to92", ("emitter", "base", "collector")),
    Pinout("BC557", "pnp_small", "to92", ("collector", "base", "emitter"), "mirrored: turn it round"),
    Pinout("MPSA92", "pnp_300v", "to92", ("emitter", "base", "collector")),
    Pinout("LM4040-3.0", "ref_3v", "to92", ("see note", "plus", "see note"), "outer: one minus, one free; look it up"),
    Pinout("IRF9640", "pmos_200v", "to220", ("gate", "drain", "source"), "tab = drain: live, touches nothing"),
    Pinout("LM2940-5", "reg_5v", "to220", ("in", "gnd", "out"), "tab = ground"),
    Pinout("MCP6022", "opamp_rr", "dip", ("1", "2", "3", "4 ground", "5", "6", "7", "8 3V3"), "3 plus, 2 minus, 1 out"),
    Pinout(
        "74HC14",
        "schmitt_hc14",
        "dip",
        (
            *("1 in", "2 out", "3 in", "4 out", "5 in", "6 out", "7 ground"),
            *("8 out", "9 in", "10 out", "11 in", "12 out", "13 in", "14 3V3"),
        ),
    ),
    Pinout(
        "MCP3208",
        "adc_spi",
        "dip",
        (
            *("1 in 0", "2 in 1", "3 in 2", "4 in 3", "5 in 4", "6 in 5", "7 in 6", "8 in 7"),
            *("9 ground", "10 select", "11 data in", "12 data out", "13 clock", "14 AGND", "15 REF", "16 3V3"),
        ),
    ),
    Pinout(
        "TJA1051T/3",
        "can_phy",
        "dip",
        ("1 TXD", "2 GND", "3 VCC 5V", "4 RXD", "5 VIO 3V3", "6 CANL", "7 CANH", "8 S"),
        "TJA1051T without /3 has no VIO: 5 V at RXD",
    ),
    Pinout(
        "MCP2518FD",
        "can_ctl",
        "dip",
        (
            *("1 TXCAN", "2 RXCAN", "3 free", "4 INT", "5 OSC2", "6 OSC1", "7 VSS"),
            *("8 free", "9 free", "10 SCK", "11 SDI", "12 SDO", "13 CS", "14 VDD"),
        ),
    ),
    Pinout(
        "MCP2515",
        "can_ctl_2515",
        "dip",
        (
            *("1 TXCAN", "2 RXCAN", "3 free", "4 free", "5 free", "6 free", "7 OSC2", "8 OSC1", "9 VSS"),
            *("10 free", "11 free", "12 INT", "13 SCK", "14 SI", "15 SO", "16 CS", "17 RESET", "18 VDD"),
        ),
    ),
    Pinout("PC817", "opto", "dip", ("1 anode", "2 cathode", "3 emitter", "4 collector"), "slot between 1, 2 and 3, 4"),
    Pinout("1N4007, 1N5408, 1N4148", "d_1n4007", "axial", ("cathode", "anode"), "ring = cathode; 1N5819, BAT85 alike"),
    Pinout("Zener, suppressor", "z_27", "axial", ("cathode", "anode"), "ring = cathode, towards plus"),
    Pinout("electrolytic", "c_elko", "round", ("minus", "plus"), "stripe = minus; long leg = plus"),
    Pinout("LED", "led", "round", ("cathode", "anode"), "flat side = cathode; long leg = anode"),
)  # fmt: skip
CELL = (270.0, 210.0)
COLUMNS = 4


def _to92(sheet: Sheet, x: float, y: float, legs: tuple[str, ...]) -> None:
    sheet.box((x + 85, y + 40), (100, 62), BLACK, "#eeeeee")
    sheet.text((x + 135, y + 75), "flat side", 11, "middle", GREY)
    _three(sheet, x, y + 102, legs)


def _to220(sheet: Sheet, x: float, y: float, legs: tuple[str, ...]) -> None:
    sheet.box((x + 80, y + 30), (110, 28), BLACK, "#dddddd")
    sheet.dot((x + 135, y + 44), 7, BLACK, "white")
    sheet.box((x + 80, y + 58), (110, 44), BLACK, "#eeeeee")
    sheet.text((x + 135, y + 84), "print", 11, "middle", GREY)
    _three(sheet, x, y + 102, legs)


def _three(sheet: Sheet, x: float, y: float, legs: tuple[str, ...]) -> None:
    for k, leg in enumerate(legs):
        at = x + 105 + 30 * k
        sheet.line([(at, y), (at, y + 30)], BLACK, 3)
        sheet.text((x + 45 + 90 * k, y + 48), leg, 11, "middle")
        sheet.line([(at, y + 30), (x + 45 + 90 * k, y + 37)], GREY, 0.8)


def _dip(sheet: Sheet, x: float, y: float, legs: tuple[str, ...]) -> None:
    half = len(legs) // 2
    step = min(30.0, 112.0 / half)
    sheet.box((x + 95, y + 32), (80, step * half + 6), BLACK, "#eeeeee")
    sheet.dot((x + 107, y + 42), 4, BLACK, "white")
    for k, leg in enumerate(legs):
        left = k < half
        row = k if left else 2 * half - 1 - k
        at = y + 35 + step * (row + 0.5)
        sheet.line([(x + (85 if left else 175), at), (x + (95 if left else 185), at)], BLACK, 3)
        sheet.text((x + (80 if left else 190), at + 4), leg, 11, "end" if left else "start")


def _axial(sheet: Sheet, x: float, y: float, legs: tuple[str, ...]) -> None:
    sheet.line([(x + 40, y + 75), (x + 230, y + 75)], BLACK, 3)
    sheet.box((x + 95, y + 58), (80, 34), BLACK, "#eeeeee")
    sheet.box((x + 102, y + 58), (8, 34), BLACK, BLACK)
    sheet.text((x + 60, y + 115), legs[0], 11, "middle")
    sheet.text((x + 210, y + 115), legs[1], 11, "middle")


def _round(sheet: Sheet, x: float, y: float, legs: tuple[str, ...]) -> None:
    sheet.box((x + 100, y + 32), (70, 60), BLACK, "#eeeeee")
    sheet.box((x + 100, y + 32), (14, 60), BLACK, "#555555")
    for at, leg, long in ((x + 115, legs[0], 22), (x + 155, legs[1], 36)):
        sheet.line([(at, y + 92), (at, y + 92 + long)], BLACK, 3)
        sheet.text((at + (-12 if leg == legs[0] else 12), y + 145), leg, 11, "end" if leg == legs[0] else "start")


_DRAW = {"to92": _to92, "to220": _to220, "dip": _dip, "axial": _axial, "round": _round}


def svg() -> str:
    """All of them on one page."""
    rows = -(-len(ALL) // COLUMNS)
    sheet = Sheet(CELL[0] * COLUMNS + 20, CELL[1] * rows + 70)
    sheet.text((14, 28), "Legs: as you hold the part, print or flat side towards you, legs down; chips from above", 17)
    sheet.text((14, 48), "Makers differ: compare with the data sheet of the one in your hand before soldering.", 12)
    for k, one in enumerate(ALL):
        x, y = 10 + CELL[0] * (k % COLUMNS), 60 + CELL[1] * (k // COLUMNS)
        sheet.box((x, y), (CELL[0] - 8, CELL[1] - 8), "#cccccc")
        sheet.text((x + 10, y + 20), one.names, 14)
        _DRAW[one.shape](sheet, x, y, one.legs)
        if one.note:
            sheet.text((x + 10, y + CELL[1] - 20), one.note, 11, "start", RED)
    return sheet.svg()
