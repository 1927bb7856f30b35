"""Wiring tables of a build on a board, as Markdown: terminals, board pins, every connection, every part."""

from __future__ import annotations

from collections import defaultdict

from hardware.circuit.boards import Board
from hardware.circuit.bom import fitted
from hardware.circuit.builds import CAR, Build, Use
from hardware.circuit.draw import value_text
from hardware.circuit.model import RAILS, Part
from hardware.circuit.stock import STOCK

_PIN_WORDS = {
    "diode": {"a": "anode", "b": "cathode (ring)"},
    "schottky": {"a": "anode", "b": "cathode (ring)"},
    "zener": {"a": "anode", "b": "cathode (ring)"},
    "led": {"a": "anode (long leg)", "b": "cathode"},
    "electrolytic": {"a": "plus", "b": "minus"},
    "npn": {"b": "base", "c": "collector", "e": "emitter"},
    "pnp": {"b": "base", "c": "collector", "e": "emitter"},
    "pmos": {"s": "source", "g": "gate", "d": "drain"},
    "box": {},
}
_CHIP_PINS = {  # stock -> supply pin, ground pin, inputs that go to ground where unused, pins of an unused half to join
    "schmitt_hc14": ("14", "7", ("1", "3", "5", "9", "11", "13"), ()),
    "opamp_rr": ("8", "4", ("5",), ("6", "7")),
}
_RAIL_WORDS = {
    "0": "ground",
    "AGND": "AGND",
    "REF": "REF",
    "12V": "12V",
    "VP": "VP",
    "VS": "VS",
    "5V": "5V",
    "3V3": "3V3",
    "VCH": "VCH",
    "VCL": "VCL",
}


CAUTIONS = (
    "- **A resistor at the far end of a wire sits within 5 cm of where the wire begins, under glued sleeve.** In the "
    "logger",
    "  it protects the logger alone: a wire that chafes through then stops coil, sensor or controller.",
    "  The sleeve is tied to its neighbour on both sides: a resistor bears no pull.",
    "- **T1: the fuse is in its tap at the car's fuse box**, before the wire. The fuse goes in last. Tap an "
    "accessory's fuse,",
    "  never that of fuel pump, ignition, engine computer or brakes.",
    "- **Splices:** the car's own wire is not cut: a window in its insulation, wrapped, soldered, sleeved. A splice "
    "that comes",
    "  off must leave the car's wire whole; no clip-on connectors.",
    "- **With the key on, no coil's wire is ever off**: the engine computer may fire it at any moment.",
    "- **Never on an electronic throttle or pedal**, on airbags, belt tensioners, brakes or steering.",
    "- One source at a time: pull T1's fuse, and any charger, before USB goes in, where the board has no diode between "
    "its",
    "  USB socket and its 5 V pin (many ESP32 boards have none: look, or measure with the diode range).",
    "- Legs of transistors and regulators: [drawing](../drawings/pinouts.svg). Q1's tab is live: it touches nothing.",
)
OF_BLOCK = {
    "can": (
        "- **Bus: JP1 and JP2 of K stay open.** The transceiver then hears and can't drive, whatever the board does.",
        "  R3 and R4 sit in the plug: with them no fault of the cable stops the car's bus. Both jumpers closed and",
        '  both resistors bridged is what `"ask": true` needs: then a chafed cable **can** stop it. Pins 6, 14 and 5',
        "  (4) alone; pin 16 is the battery, unfused for us. The plug comes out before anybody else plugs in there.",
    ),
}


def pin_text(part: Part, pin: str) -> str:
    """ " anode", " pin 3", or nothing for parts whose two ends are alike."""
    words = _PIN_WORDS.get(STOCK[part.stock].kind)
    if words is None:
        return ""
    return f" {words[pin]}" if pin in words else f" pin {pin}"


def connections(build: Build, board: Board) -> dict[str, list[str]]:
    """Net -> everything soldered to it. Nets are named after rails, board signals, terminals, or block and net."""
    nets = defaultdict(list)
    for use in fitted(build, board):
        for part in use.data.parts:
            for pin, net in part.pins.items():
                far = f" ({part.place})" if part.place else ""
                nets[_net(use, net)].append(f"{use.prefix}-{part.ref}{pin_text(part, pin)}{far}")
    for name in list(nets):
        if name in board.pins:
            nets[name].append(f"board: {board.pins[name][1]}")
        if name in build.terminals:
            nets[name].append(f"terminal {name}")
    nets["ground"] += [f"board: {board.pins['GND'][1]}", "terminal T2"]
    for name, (device, pin) in CAR.items():
        if name in nets:
            nets[f"car: {device}, {pin}"] = [f"the {device}", *nets.pop(name)]
    for rail, places in _chip_supplies(build, board):
        nets[rail] += places
    return dict(nets)


def _chip_supplies(build: Build, board: Board):
    """(net, pins) that the drawings leave out: supply of every chip, its capacitor, inputs that are not used."""
    for use in fitted(build, board):
        chips = {part.ref[:2]: STOCK[part.stock] for part in use.data.parts if part.stock in _CHIP_PINS}
        for ref, stock in chips.items():
            chip = f"{use.prefix}-{ref}"
            used = {pin for part in use.data.parts if part.ref.startswith(ref) for pin in part.pins}
            supply, ground, inputs, joined = next(v for k, v in _CHIP_PINS.items() if STOCK[k] is stock)
            yield "3V3", [f"{chip} pin {supply}", f"{chip} 100 nF"]
            yield "ground", [f"{chip} pin {ground}", f"{chip} 100 nF"]
            yield "ground", [f"{chip} pin {pin}" for pin in inputs if pin not in used]
            if joined:
                yield f"{chip} unused half", [f"{chip} pin {pin}" for pin in joined]


def _net(use: Use, net: str) -> str:
    if net in use.joins:
        return use.joins[net]
    return _RAIL_WORDS[net] if net in RAILS else f"{use.prefix}-{net}"


def markdown(build: Build, board: Board) -> str:
    """The page."""
    out = [f"# {build.title}", "", f"On: {board.title}. Made from the circuit data by `make hardware`.", ""]
    out += ["## Terminals", "", "| terminal | label | goes to | through, at that end | wire |", "|---|---|---|---|---|"]
    for terminal, end in build.terminals.items():
        far = [f"{use.prefix}-{part.ref} {value_text(part)}" for use, part in build.far_parts(terminal)]
        own = [text for text in far if end.device not in ("button", "lamp")]
        wire = ", ".join(dict.fromkeys((end.wire, end.colour)))
        clear = ", alone: 5 mm clear of every other" if end.clear else ""
        out.append(f"| {terminal} | {end.label}{clear} | {end.place} | {' and '.join(own)} | {wire} |")
    own = [line for block, lines in OF_BLOCK.items() if any(use.block == block for use in build.uses) for line in lines]
    out += ["", *CAUTIONS, *own, ""]
    out += ["## Board pins", "", "| signal | pad | for |", "|---|---|---|"]
    used = set(connections(build, board)) | {"VBOARD", "3V3", "GND", "AGND"}
    out += [f"| {signal} | {pad} | {note} |" for signal, (_, pad, note) in board.pins.items() if signal in used]
    out += ["", "## Every connection", ""]
    out += ["Each line is one node: everything in it is joined by wire and solder, and nothing else is.", ""]
    out += ["| node | joins |", "|---|---|"]
    for name, places in sorted(connections(build, board).items(), key=lambda item: item[0]):
        out.append(f"| {name} | {', '.join(places)} |")
    out += ["", "## Every part", "", "| part | what | for |", "|---|---|---|"]
    for use in fitted(build, board):
        out.append(f"| **{use.prefix}** | **{use.data.title}** | [drawing](../drawings/{use.block}.svg) |")
        for part in use.data.parts:
            stock = STOCK[part.stock]
            text = f"{value_text(part)}, {stock.text}" if part.value else stock.text
            out.append(f"| {use.prefix}-{part.ref} | {text} | {part.use} |")
    return "\n".join(out) + "\n"
