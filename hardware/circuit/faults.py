"""Every fault of a build: each wire open, on ground, on 12 V; each part open and short, between every two legs."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

from hardware.circuit.boards import Board
from hardware.circuit.bom import fitted
from hardware.circuit.builds import Build, Use
from hardware.circuit.model import Part
from hardware.circuit.stock import STOCK
from hardware.circuit.tables import pin_text

ON_LINE = ", J-JP1 on 1-2"
STRAY_PF = 100.0  # of a wire of 2 m along the car's body (common practice, no source)
OPEN, TO_GROUND, TO_12V = "open", "on ground", "on 12 V"
_LOADS = {
    "card_socket": ("3V3", "GND"),
    "screen": ("VCC", "GND"),
    "buzzer": ("+", "-"),
}  # only their supply is simulated

# Chips with many legs: shorts between neighbours alone, as they stand
_ROWS = {
    "can_ctl": (("TXCAN", "RXCAN"), ("INT", "OSC2", "OSC1", "VSS"), ("SCK", "SDI", "SDO", "CS", "VDD")),
    "adc_spi": (tuple("12345678"), ("9", "10", "11", "12", "13", "14", "15", "16")),
}


@dataclass(frozen=True)
class Fault:
    """place: "T3" or "A0-R1". what: in words. part: of `use`, or None for a wire. opened: pin that comes off, or "".

    shorted: two pins that touch, or a pin and a net ("=0"), or () for a wire and for an open part.
    moved: terminal -> terminal on which its wire now is, "" for none: a plug in a wrong socket. legs: a node of which
    the board's own leg comes off, or two whose legs touch. unfed: (block, part) of gates whose chip's supply leg comes
    off. lost: what works no more, by rule. on_line: the jumper of the tach sources is on 1-2, the line; else on 2-3,
    the coil. stray: a terminal whose wire has STRAY_PF to the car's body.
    """

    place: str
    what: str
    use: Use | None = None
    part: Part | None = None
    opened: str = ""
    shorted: tuple[str, ...] = ()
    moved: tuple[tuple[str, str], ...] = ()
    legs: tuple[str, ...] = ()
    unfed: tuple[tuple[str, str], ...] = ()
    lost: tuple[str, ...] = ()
    on_line: bool = False
    stray: str = ""

    @property
    def conditions(self) -> str:
        """Under which circumstances, as the name tells."""
        stray = f", {self.stray}'s wire {STRAY_PF / 1000:g} nF to the body" if self.stray else ""
        return stray + (ON_LINE if self.on_line else "")

    @property
    def name(self) -> str:
        return f"{self.place} {self.what}{self.conditions}"

    @property
    def is_wire(self) -> bool:
        return self.part is None and not (self.moved or self.legs or self.unfed)


def _bridges(part: Part) -> list[tuple[str, str]]:
    """The pairs of legs that may touch."""
    rows = _ROWS.get(part.stock)
    return [pair for row in rows for pair in zip(row, row[1:])] if rows else list(combinations(_legs(part), 2))


def _legs(part: Part) -> list[str]:
    return [pin for pin in part.pins if part.stock not in _LOADS or pin in _LOADS[part.stock]]


def _opened(part: Part) -> list[str]:
    """The pins whose coming off is worth a row: one of two, every one of more."""
    legs = _legs(part)
    return legs[:1] if len(legs) == 2 else legs


def of_wires(build: Build) -> list[Fault]:
    """Three faults of every wire; the screens' only ever touch something."""
    kinds = (OPEN, TO_GROUND, TO_12V)
    return [Fault(terminal, kind) for terminal in build.terminals for kind in kinds]


def of_part(use: Use, part: Part) -> list[Fault]:
    """All faults of one part."""
    place = f"{use.prefix}-{part.ref}"
    if part.stock == "schmitt_hc14":  # its input on its output is no state but an oscillator
        output = list(part.pins)[1]
        stuck = [
            Fault(place, f"output on {net}", use, part, shorted=(output, f"={net.lower()}")) for net in ("0", "3V3")
        ]
        return [Fault(place, "input open", use, part, opened=next(iter(part.pins))), *stuck]
    two_legs = len(_legs(part)) == 2
    out = []
    for pin in _opened(part):
        what = "open" if two_legs else f"{_name(part, pin)} open"
        floats = part.stock == "reg_5v" and pin == "gnd"  # without its ground leg its output follows its input
        out.append(Fault(place, what, use, part, "" if floats else pin, ("in", "out") if floats else ()))
    for a, b in _bridges(part):
        what = "short" if two_legs else f"{_name(part, a)} to {_name(part, b)}"
        out.append(Fault(place, what, use, part, shorted=(a, b)))
    return out


def _name(part: Part, pin: str) -> str:
    return pin_text(part, pin).strip().removeprefix("pin ") if STOCK[part.stock].kind != "box" else pin


def of_build(build: Build, board: Board) -> list[Fault]:
    """All of them, wires first."""
    parts = [fault for use in fitted(build, board) for part in use.data.parts for fault in of_part(use, part)]
    return of_wires(build) + parts
