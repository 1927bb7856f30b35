"""The page for whoever makes the cables of the board to order: each terminal of each plug, and where its core goes."""

from __future__ import annotations

from hardware.board import contents, items, kicad
from hardware.board.contents import Cable
from hardware.circuit import harness
from hardware.circuit.builds import Terminal
from hardware.circuit.draw import value_text
from hardware.circuit.stock import STOCK
from hardware.circuit.tables import CAUTIONS, OF_BLOCK

_LIMITING = ("resistor", "fuse")
# What a label leaves open, plug by plug
_MORE = {
    "First": "J1, J2, pin 1 of J7 (or J8) and J9 make a logger. All others may stay empty: their channels then leave "
    "logger.json.",
    "J4": "a cable-driven throttle's sensor alone, **never an electronic throttle or pedal**.",
    "J5": "a pressure sensor that the engine computer reads. One of your own does as well: its 5 V from J6 (T12, T13), "
    "its signal and its ground through the same resistors to T7 and T10.",
    "J6": "feeds a sensor of your own, 30 mA at most, whose ground touches nothing else.",
    "J7": "T19: the tach output, **J-JP1 on 1-2**, E1-JP1 open first. T20: an injector's switched side "
    "(E2-JP1 open), or a pulse sensor that you fitted yourself and that nothing else reads. **Never a wheel "
    "sensor of the brakes**, never any sensor that another computer reads: with pulses even a "
    "small load may count as a fault there.",
    "J8": "**J-JP1 on 2-3**: one source of engine speed, T19 or the coil. Pitch 7.62 mm, made for 400 V and more: no "
    "other plug goes in, and its two pins stand 5 mm apart. Both wires have 600 V insulation; all three "
    "resistors sit at the engine.",
    "J10": "stays empty unless block K is fitted.",
}
_CORES = (
    "- **Key out and the battery's minus off while you wire**; T1's fuse goes in last. T2's lug goes to the",
    "  *same point* as the controller's own ground. Wires through grommets, at least 10 cm from ignition leads and",
    "  exhaust, tied every 20 cm. Before anybody welds on the car: key out, then every plug out of the board.",
    "- **Cores in screw plugs** end bare or in a ferrule, never tinned: tin creeps, and the screw is loose in a "
    "year. A",
    "  tie holds each cable at the case before it reaches its plug.",
)


def _through(terminal: str) -> str:
    """What limits the wire's current: at its far end, or on the board."""
    far = contents.BOARD.far_parts(terminal)
    own = contents.BOARD.terminals[terminal].own
    if far and not own:
        return "; ".join(f"{use.prefix}-{part.ref} {value_text(part)}, {part.place}" for use, part in reversed(far))
    joined = [item for item in items.all_items() if terminal in item.nets.values() and item.stock in STOCK]
    here = [item for item in joined if STOCK[item.stock].kind in _LIMITING]
    return "; ".join(f"{item.ref} {kicad.shown_value(item)}, on the board" for item in here)


def _rows(cable: Cable) -> list[str]:
    """The plug's lines, pin 1 first."""
    out = []
    for k, terminal in enumerate(cable.ways):
        end: Terminal = contents.BOARD.terminals[terminal]
        out.append(
            f"| {cable.ref} {cable.title} | {k + 1} | **{terminal}** {end.label} | {end.place} | "
            f"{_through(terminal)} | "
            f"{end.wire} | {end.colour} |"
        )
    return out


def harness_yaml() -> str:
    """The cables as a wireviz file, what stays empty left out."""
    there = contents.FITTED.terminals
    cables = [cable for cable in contents.CABLES if set(cable.ways) <= set(there)]
    plugs = {f"{cable.ref} {cable.title}": cable.ways for cable in cables}
    return harness.yaml(contents.FITTED, plugs)


def markdown() -> str:
    """The page."""
    cautions = [line.replace("(../drawings", "(../../drawings") for line in CAUTIONS]
    out = [
        "# Wiring of the board to order",
        "",
        "For the board alone: the builds on perfboard number their terminals otherwise. Made from the circuit data by",
        "`make board`; drawn: [harness](harness.svg). Pin 1 is the square pad; each terminal's number is printed",
        "behind its socket, at its pin, the socket's own at the end of pin 1. Write the",
        "socket's number on each plug: what plugs in wrong sockets do is in the",
        "[table of faults](../../failures/board.md), and the reading is then wrong.",
        "",
        "| plug | pin | terminal | goes to | through, there | wire | core |",
        "|---|---|---|---|---|---|---|",
    ]
    for cable in contents.CABLES:
        out += _rows(cable)
    out += ["", "What the table leaves open:", ""]
    out += [f"- **{ref}:** {words}" for ref, words in _MORE.items()]
    out += ["", *_CORES, *cautions, "", "Where block K is fitted:", "", *OF_BLOCK["can"], ""]
    return "\n".join(out)
