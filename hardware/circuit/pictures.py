"""Pictures of what right and wrong look like: six pairs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from hardware.circuit.sheet import BLACK, BLUE, GREEN, GREY, RED, Point, Sheet

PANEL = (400.0, 190.0)


@dataclass(frozen=True)
class Pair:
    """title; what is said under the wrong and the right picture; what draws them: (sheet, corner, right)."""

    title: str
    wrong: str
    right: str
    draw: Callable[[Sheet, Point, bool], None]


def _box(sheet: Sheet, x: float, y: float, size: Point, words: str) -> None:
    sheet.box((x, y), size, BLACK, "#f2f2f2")
    sheet.text((x + size[0] / 2, y + size[1] / 2 + 4), words, 11, "middle")


def _resistor(sheet: Sheet, x: float, y: float) -> None:
    sheet.box((x, y - 7), (34, 14), BLACK, "white")


def _ground(sheet: Sheet, at: Point, right: bool) -> None:
    x, y = at
    for k, name in enumerate(("P", "A0", "E", "card")):
        _box(sheet, x + 20 + 92 * k, y + 30, (62, 36), name)
    star = (x + 51, y + 125)
    for k in range(4):
        foot = (x + 51 + 92 * k, y + 66)
        if right:
            sheet.line([foot, (foot[0], y + 78 + 9 * k), (star[0] + 4 * k, star[1])], GREEN, 2.5)
        elif k:
            sheet.line([foot, (foot[0], y + 90), (foot[0] - 92, y + 90), (foot[0] - 92, y + 66)], RED, 2.5)
    if not right:
        sheet.line([(x + 51, y + 66), star], RED, 2.5)
    sheet.dot(star, 7, GREEN if right else RED)
    sheet.text((star[0] - 12, star[1] + 18), "T2", 11)


def _coil(sheet: Sheet, at: Point, right: bool) -> None:
    x, y = at
    _box(sheet, x + 15, y + 50, (70, 50), "coil")
    _box(sheet, x + 305, y + 50, (80, 50), "logger")
    sheet.line([(x + 85, y + 75), (x + 305, y + 75)], GREEN if right else RED, 2.5)
    for k in range(2):
        _resistor(sheet, x + (100 + 42 * k if right else 222 + 40 * k), y + 75)
    if right:
        sheet.box((x + 94, y + 62), (90, 26), BLUE, "none", "4 3")
        sheet.text((x + 100, y + 55), "glued sleeve", 11, "start", BLUE)
        sheet.text((x + 195, y + 100), "11 mA at most", 11)
    else:
        sheet.text((x + 100, y + 65), "400 V, no fuse", 11, "start", RED)
        sheet.line([(x + 150, y + 75), (x + 150, y + 115)], RED, 2)
        sheet.text((x + 158, y + 118), "chafed: coil on for good", 11, "start", RED)


def _screen(sheet: Sheet, at: Point, right: bool) -> None:
    x, y = at
    _box(sheet, x + 10, y + 45, (90, 60), "controller")
    _box(sheet, x + 305, y + 45, (80, 60), "logger")
    for k, colour in enumerate((GREY, BLUE)):
        sheet.line([(x + 100, y + 65 + 18 * k), (x + 305, y + 65 + 18 * k)], colour, 2.5)
    sheet.box((x + 128, y + 55), (150, 38), BLACK, "none", "3 3")
    end = [(x + 270, y + 93), (x + 270, y + 120), (x + 318, y + 120), (x + 318, y + 105)]
    sheet.line(end, GREEN if right else RED, 2)
    sheet.text((x + 250, y + 136), "T14", 11)
    if right:
        sheet.text((x + 96, y + 122), "cut short, sleeved", 11, "start", GREEN)
    else:
        sheet.line([(x + 140, y + 93), (x + 140, y + 120), (x + 60, y + 120), (x + 60, y + 105)], RED, 2)


def _fuse(sheet: Sheet, at: Point, right: bool) -> None:
    x, y = at
    _box(sheet, x + 10, y + 50, (80, 50), "fuse box")
    _box(sheet, x + 305, y + 50, (80, 50), "logger")
    sheet.line([(x + 90, y + 75), (x + 305, y + 75)], GREEN if right else RED, 2.5)
    where = x + (104 if right else 255)
    sheet.box((where, y + 64), (38, 22), BLACK, "white")
    sheet.text((where + 19, y + 79), "1 A", 10, "middle")
    if right:
        sheet.text((x + 92, y + 112), "within 15 cm", 11, "start", GREEN)
    else:
        sheet.text((x + 105, y + 62), "bare to any chafing", 11, "start", RED)


def _gland(sheet: Sheet, at: Point, right: bool) -> None:
    x, y = at
    sheet.line([(x + 200, y + 25), (x + 200, y + 62)], BLACK, 6)
    sheet.line([(x + 200, y + 88), (x + 200, y + 130)], BLACK, 6)
    sheet.text((x + 120, y + 40), "outside", 11, "end", GREY)
    sheet.text((x + 290, y + 40), "inside", 11, "start", GREY)
    _box(sheet, x + 330, y + 60, (50, 30), "T1")
    if right:
        sheet.box((x + 182, y + 60), (36, 30), BLACK, "#bbbbbb")
        sheet.line([(x + 20, y + 75), (x + 262, y + 75)], GREEN, 3)
        sheet.dot((x + 250, y + 75), 9, GREEN)
        sheet.line([(x + 262, y + 75), (x + 285, y + 100), (x + 305, y + 75), (x + 330, y + 75)], GREEN, 3)
        sheet.text((x + 228, y + 118), "tie, then a slack bow", 11, "start", GREEN)
    else:
        sheet.line([(x + 20, y + 75), (x + 330, y + 75)], RED, 3)
        sheet.text((x + 210, y + 112), "a pull ends at the solder", 11, "start", RED)


def _tab(sheet: Sheet, at: Point, right: bool) -> None:
    x, y = at
    if not right:
        sheet.box((x + 40, y + 35), (300, 22), BLACK, "#cccccc")
        sheet.text((x + 190, y + 136), "one heat sink, or the metal case", 11, "middle", RED)
    for k, (name, tab) in enumerate((("P-U1", "tab: ground"), ("P-Q1", "tab: 12 V"))):
        left = x + 70 + 160 * k
        if right and k == 0:
            sheet.box((left - 12, y + 35), (104, 22), BLACK, "#cccccc")
        sheet.box((left, y + 42), (80, 18), BLACK, "#999999")
        _box(sheet, left, y + 60, (80, 34), name)
        sheet.text((left + 40, y + 116), tab, 11, "middle", RED if k else BLACK)
    if right:
        sheet.line([(x + 162, y + 78), (x + 230, y + 78)], GREEN, 1.5)
        sheet.text((x + 196, y + 136), "5 mm of air or more", 11, "middle", GREEN)


ALL = (
    Pair("Ground", "in a chain: what the card draws moves A0's zero", "a star: every block by itself", _ground),
    Pair("The coil's wire", "resistors in the logger", "resistors at the coil, within 5 cm", _coil),
    Pair("Screens", "joined at both ends: current flows in it", "joined at T14 alone", _screen),
    Pair("The fuse", "at the logger: it protects no wire", "where the wire begins", _fuse),
    Pair("Strain", "wire straight onto its joint", "gland, tie, bow", _gland),
    Pair("Q1's tab", "two tabs on one metal: 12 V on ground", "each alone, air around Q1", _tab),
)


def svg() -> str:
    """All pairs, wrong at the left and right at the right."""
    sheet = Sheet(2 * PANEL[0] + 50, 50 + len(ALL) * (PANEL[1] + 16))
    sheet.text((20, 28), "What wrong and right look like", 17)
    for k, pair in enumerate(ALL):
        y = 44 + k * (PANEL[1] + 16)
        for right in (False, True):
            x = 15 + (PANEL[0] + 15) * right
            colour = GREEN if right else RED
            sheet.box((x, y), PANEL, colour)
            sheet.text((x + 10, y + 20), f"{pair.title}: {'right' if right else 'WRONG'}", 13, "start", colour)
            pair.draw(sheet, (x, y), right)
            sheet.text((x + 10, y + PANEL[1] - 14), pair.right if right else pair.wrong, 12, "start", colour)
    return sheet.svg()
