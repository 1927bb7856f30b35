"""Faults of the board to order that no block shows: plugs in wrong sockets, cores in wrong places, legs of the RP2040
board in their sockets, supply legs of the chips that several blocks share."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

from hardware.board import contents, items, module
from hardware.board.contents import Cable
from hardware.circuit.faults import OPEN, Fault, of_part, of_wires

_SCREENS = "T14"  # the screens end at nothing, wherever their plug is
_NODES = {"GND": "0", "AGND": "0"}
# Whose logic is no part of the simulation: signal -> what is lost with it; lamp and sounder where a converter's line,
# which never rests, drives them
_LOST = {
    "sck": "card", "mosi": "card", "miso": "card", "cs": "card", "sda": "screen", "scl": "screen", "3V3": "card",
}  # fmt: skip
_UNUSED = ("gp2", "gp3", "d0", "power_fail", "bus_cs", "bus_int")  # read by nothing while block K stays empty
_ROWS = (range(1, 21), range(21, 41))  # of neighbouring legs


def fitted() -> list[Cable]:
    """The cables of the board as it comes."""
    empty = {item.ref for item in items.all_items() if not item.fitted}
    return [cable for cable in contents.CABLES if cable.ref not in empty]


def of_plugs() -> list[Fault]:
    """Plugs of one size in each other's sockets, both or one alone; a plug in a socket of more ways. The plug whose
    place is taken hangs in the air."""
    out = []
    for one, other in combinations(fitted(), 2):
        if _pitch(one) != _pitch(other):
            continue
        small, large = sorted((one, other), key=lambda cable: len(cable.ways))
        if len(small.ways) == len(large.ways):
            moved = _moved(one.ways, other.ways) + _moved(other.ways, one.ways)
            out.append(Fault(f"plugs of {one.ref} and {other.ref}", "swapped", moved=moved))
            for a, b in ((one, other), (other, one)):
                moved = _moved(a.ways, b.ways) + _hanging(b.ways)
                out.append(Fault(f"plug of {a.ref}", f"in {b.ref}", moved=moved))
            continue
        for first in range(len(large.ways) - len(small.ways) + 1):
            ways = large.ways[first : first + len(small.ways)]
            moved = _moved(small.ways, ways) + _hanging(large.ways)
            where = f"pins {first + 1} to {first + len(ways)}"
            out.append(Fault(f"plug of {small.ref}", f"in {large.ref}, {where}", moved=moved))
    return out


def _pitch(cable: Cable) -> float:
    pads = items.footprint(cable.stock, "").pads
    return round(pads[1].at[0] - pads[0].at[0], 3)


def _moved(wires: tuple[str, ...], sockets: tuple[str, ...]) -> tuple[tuple[str, str], ...]:
    return tuple((wire, socket) for wire, socket in zip(wires, sockets) if wire != _SCREENS)


def _hanging(wires: tuple[str, ...]) -> tuple[tuple[str, str], ...]:
    return tuple((wire, "") for wire in wires if wire != _SCREENS)


def of_cores() -> list[Fault]:
    """Two cores of one plug in each other's places, each two of them."""
    out = []
    for cable in fitted():
        for (i, a), (j, b) in combinations(enumerate(cable.ways, 1), 2):
            what = f"cores {i} and {j} swapped ({a}, {b})"
            out.append(Fault(f"plug of {cable.ref}", what, moved=_moved((a, b), (b, a))))
    return out


def of_module() -> list[Fault]:
    """Each leg of the RP2040 board without contact, but the seven grounds, of which one does; neighbours touching."""
    pins = module.pins()
    out = []
    for number, net in sorted(pins.items()):
        if net not in ("GND", *_UNUSED):
            out.append(Fault("M1", f"{number} ({net}) open", legs=(net.lower(),), lost=_lost(net)))
    for row in _ROWS:
        for a, b in zip(row, row[1:]):
            nets = [pins.get(number, "") for number in (a, b)]
            if nets[0] != nets[1] and not {"", *_UNUSED} & {*nets}:
                what = f"{a} to {b} ({nets[0]} to {nets[1]})"
                lost = _lost(*nets) if "3V3" not in nets else ()  # which stays where it is
                out.append(Fault("M1", what, legs=(_node(nets[0]), _node(nets[1])), lost=lost))
    return out


def _node(net: str) -> str:
    return _NODES.get(net, net.lower())


def _lost(*nets: str) -> tuple[str, ...]:
    lost = {**_LOST, "lamp": "lamp", "buzzer": "sounder"} if any(net.startswith("x_") for net in nets) else _LOST
    return tuple(dict.fromkeys(lost[net] for net in nets if net in lost))


def of_own_legs() -> list[Fault]:
    """Legs of the RP2040 board that lead nowhere on ours but do something on it, touching those beside them. Its
    regulator, which EN on ground or on 3V3 keeps off, is then as without its supply leg."""
    off = [Fault("M1", f"{legs}", legs=("vboard",)) for legs in ("36 to 37 (3V3 to EN)", "37 to 38 (EN to GND)")]
    return [Fault("M1", "30 to 31 (RUN to a0)", legs=("run", "a0")), *off]


def of_strays() -> list[Fault]:
    """Sparks that pass through what a wire has to the car's body, once the coil's loop is open."""
    use = contents.FITTED.used("C")
    lug = next(replace(fault, stray="T6") for fault in of_part(use, use.data.part("R4")) if fault.opened)
    return [*(Fault(terminal, OPEN, stray=terminal) for terminal in ("T5", "T6")), lug]


def of_chips() -> list[Fault]:
    """The supply leg of each shared chip without contact."""
    return [Fault(chip.ref, f"{chip.supply} open", unfed=tuple(chip.gates)) for chip in items.CHIPS]


def on_tach_line() -> list[Fault]:
    """All that reaches the tach line, once more with the jumper of the sources on it."""
    line = [contents.FITTED.used(prefix) for prefix in ("E1", "J")]
    found = [fault for fault in of_wires(contents.FITTED) if fault.place == "T19"]
    found += [fault for use in line for part in use.data.parts for fault in of_part(use, part)]
    found += [fault for fault in (*of_plugs(), *of_cores()) if any("T19" in pair for pair in fault.moved)]
    found += [fault for fault in of_module() if "p0" in fault.legs]
    found += [fault for fault in of_chips() if any(prefix == "E1" for prefix, _ in fault.unfed)]
    return [replace(fault, on_line=True) for fault in found]


def every() -> tuple[Fault, ...]:
    """All of them."""
    return (*of_plugs(), *of_cores(), *of_module(), *of_own_legs(), *of_chips(), *of_strays(), *on_tach_line())
