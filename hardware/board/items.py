"""The board's parts one by one: which pad is on which net. All of it follows from the circuit's blocks."""

from __future__ import annotations

from dataclasses import dataclass

from hardware.board import contents, module
from hardware.board.footprints import Footprint, footprint
from hardware.circuit.builds import Use
from hardware.circuit.model import RAILS
from hardware.circuit.stock import STOCK

_RAIL_NAMES = {"0": "GND"}
_TERMINAL_NAMES = {"T1": "12V", "T2": "GND"}


@dataclass(frozen=True)
class Item:
    """ref: name on the board. nets: pad -> net, pads that lead nowhere left out. block: prefix of its block, "" for
    what serves several. use: what it is for. fitted: False where the pads stay empty."""

    ref: str
    stock: str
    value: str
    nets: dict[str, str]
    block: str
    use: str
    fitted: bool = True

    @property
    def footprint(self) -> Footprint:
        return footprint(self.stock, self.value)


@dataclass(frozen=True)
class Chip:
    """A chip that several blocks share. gates: (block, part) -> the circuit's pin -> the chip's pin. idle: inputs that
    go to ground."""

    ref: str
    stock: str
    supply: str
    ground: str
    gates: dict[tuple[str, str], dict[str, str]]
    idle: tuple[str, ...] = ()


_HALF = {"3": "5", "2": "6", "1": "7"}  # the second op-amp of a dual one
_FIRST = {"3": "3", "2": "2", "1": "1"}
CHIPS = (
    Chip(
        "U1",
        "schmitt_hc14",
        "14",
        "7",
        {
            ("E1", "U1A"): {"1": "1", "2": "2"},
            ("E1", "U1B"): {"3": "3", "4": "4"},
            ("E2", "U1A"): {"1": "5", "2": "6"},
            ("E2", "U1B"): {"3": "9", "4": "8"},
            ("C", "U1A"): {"1": "11", "2": "10"},
        },
        ("13",),
    ),
    Chip("U2", "opamp_rr", "8", "4", {("A0", "U1"): _FIRST, ("A1", "U1"): _HALF}),
    Chip("U3", "opamp_rr", "8", "4", {("A2", "U1"): _FIRST, ("A3", "U1"): _HALF}),
)


def net_name(use: Use, net: str) -> str:
    """The board's name of a block's net."""
    outer = use.joins.get(net)
    if outer is not None:
        return _TERMINAL_NAMES.get(outer, outer)
    return _RAIL_NAMES.get(net, net) if net in RAILS else f"{use.prefix}-{net}"


def _of_blocks() -> list[Item]:
    """Every part of every block that sits on the board and is no shared chip."""
    shared = {gate for chip in CHIPS for gate in chip.gates}
    out = []
    for use in contents.BOARD.uses:
        for part in use.data.parts:
            if part.place or (use.prefix, part.ref) in shared:
                continue
            nets = {pin: net_name(use, net) for pin, net in part.pins.items()}
            fitted = use.prefix not in contents.NOT_FITTED
            out.append(Item(f"{use.prefix}-{part.ref}", part.stock, part.value, nets, use.prefix, part.use, fitted))
    return out


def _chips() -> list[Item]:
    """The shared chips, each with its capacitor."""
    out = []
    for chip in CHIPS:
        nets = {chip.supply: "3V3", chip.ground: "GND"} | dict.fromkeys(chip.idle, "GND")
        for (prefix, ref), pins in chip.gates.items():
            use = contents.BOARD.used(prefix)
            nets |= {pins[pin]: net_name(use, net) for pin, net in use.data.part(ref).pins.items()}
        served = ", ".join(dict.fromkeys(prefix for prefix, _ in chip.gates))
        out.append(Item(chip.ref, chip.stock, "", nets, "", f"serves the blocks {served}"))
        nets = {"a": "3V3", "b": "GND"}
        out.append(Item(f"{chip.ref}-C1", "c", "100n", nets, "", f"at the supply pins of {chip.ref}"))
    return out


def _sockets() -> list[Item]:
    """The RP2040 board, the cables' terminals and the test points."""
    out = [
        Item("M1", "board_rp2", "", {str(pin): net for pin, net in module.pins().items()}, "", "on two socket strips")
    ]
    for cable in contents.CABLES:
        nets = {str(k + 1): _TERMINAL_NAMES.get(way, way) for k, way in enumerate(cable.ways)}
        out.append(Item(cable.ref, cable.stock, "", nets, "", cable.title, cable.ref != "J10"))
    for net in contents.TEST_POINTS:
        out.append(Item(f"TP-{net}", "point", "", {"1": net}, "", f"test point: {net}"))
    return out


def all_items() -> list[Item]:
    """Every part of the board, always in the same order."""
    found = [*_of_blocks(), *_chips(), *_sockets()]
    for item in found:
        if item.stock not in STOCK and item.stock != "point":
            raise KeyError(f"{item.ref}: {item.stock} is not in the stock list")
        unknown = set(item.nets) - {pad.name for pad in item.footprint.pads}
        if unknown:
            raise KeyError(f"{item.ref}: its footprint has no pads {sorted(unknown)}")
    return found


def nets(items: list[Item]) -> dict[str, list[tuple[str, str]]]:
    """Net -> (part, pad) of all that it joins; what the board read back must equal."""
    out: dict[str, list[tuple[str, str]]] = {}
    for item in items:
        for pad in item.footprint.pads:
            if pad.name in item.nets:
                out.setdefault(item.nets[pad.name], []).append((item.ref, pad.name))
    return {net: sorted(set(ends)) for net, ends in sorted(out.items())}
