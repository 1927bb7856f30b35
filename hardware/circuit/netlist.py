"""Blocks -> ngspice. Nets of a block are called INSTANCE.NET, rails keep their names."""

from __future__ import annotations

from pathlib import Path

from hardware.circuit.model import RAILS, Block, Part
from hardware.circuit.stock import STOCK

MODELS = Path(__file__).with_name("models.lib")

_LETTER = {
    "resistor": "r",
    "capacitor": "c",
    "electrolytic": "c",
    "diode": "d",
    "schottky": "d",
    "zener": "d",
    "led": "d",
    "npn": "q",
    "pnp": "q",
    "pmos": "m",
}
_ORDER = {"r": "ab", "c": "ab", "d": "ab", "q": "cbe", "m": "dgs"}
SUBCIRCUIT = {  # stock -> (name, pins in order, supply pin follows)
    "reg_5v": ("REG5V", ("in", "gnd", "out"), False),
    "opamp_rr": ("OPAMP", ("3", "2", "1"), True),
    "opto": ("OPTO", ("1", "2", "4", "3"), False),
    "ptc_100ma": ("PTC", ("a", "b"), False),
    "ptc_750ma": ("PTC", ("a", "b"), False),
    "ref_3v": ("REF3V", ("a", "b"), False),
    "z_can": ("TVSCAN", ("a", "b"), False),
    "can_phy": ("CANPHY", ("TXD", "RXD", "S", "VIO", "VCC", "GND", "CANH", "CANL"), False),
    "can_ctl": ("CANCTL", ("CS", "SCK", "SDI", "SDO", "INT", "TXCAN", "RXCAN", "VSS", "VDD"), False),
    "can_ctl_2515": ("CANCTL", ("CS", "SCK", "SI", "SO", "INT", "TXCAN", "RXCAN", "VSS", "VDD"), False),
    "adc_spi": ("ADCSPI", ("1", "2", "3", "5", "7", "15", "14", "16", "9"), False),
    "jumper3": ("JUMPER3", ("1", "2", "3"), False),
}
_PARAMETERS = {"ptc_750ma": "cold=0.5 heat=0.2 lost=85"}
_SERIES_OHM = {"fuse_1a": "0.1", "jumper": "100meg", "switch": "0.01", "button": "100meg"}
_ESR_OHM = {"c_elko": "0.3", "c_elko_big": "0.05"}
NOT_SIMULATED = ("card_socket", "screen", "buzzer", "crystal")
_CALLED = {"AGND": "0"}  # one node in the simulation; two on the perfboard, so that no current flows past the converter


def net_name(instance: str, net: str) -> str:
    """The name of a block's net in the netlist."""
    return _CALLED.get(net, net).lower() if net in RAILS else f"{instance}.{net.lower()}"


def lines(block: Block, instance: str, values=None, parameters=None, outer=None) -> list[str]:
    """The netlist lines of one block.

    values: ref -> value instead of the nominal one. parameters: ref -> text after a subcircuit's name.
    outer: net of the block -> name of the net outside that it is joined to.
    """
    out = [f"* {instance}: {block.title}"]
    for part in block.parts:
        value, parameter = (values or {}).get(part.ref, part.value), (parameters or {}).get(part.ref, "")
        out += part_lines(part, instance, nets_of(part, instance, outer), value, parameter)
    return out


def nets_of(part: Part, instance: str, outer=None, far=()) -> dict[str, str]:
    """Pin -> node. far: outer nets that reach a part sitting in the car by a wire; its end there is called NETf."""
    nets = {pin: (outer or {}).get(net, net_name(instance, net)).lower() for pin, net in part.pins.items()}
    return {pin: net + "f" if part.place and net in far else net for pin, net in nets.items()}


def part_lines(part: Part, instance: str, nets: dict[str, str], value: str, parameters: str = "") -> list[str]:
    """The netlist lines of one part on these nodes."""
    stock = STOCK[part.stock]
    name = f"{instance}.{part.ref}".lower()
    if part.stock in SUBCIRCUIT:
        subcircuit, order, supplied = SUBCIRCUIT[part.stock]
        supply = ["3v3"] if supplied else []
        parameters = parameters or _PARAMETERS.get(part.stock, "")
        return [" ".join([f"x{name}", *[nets[p] for p in order], *supply, subcircuit, parameters]).strip()]
    if part.stock == "schmitt_hc14":
        first, second = part.pins
        return [f"x{name} {nets[first]} {nets[second]} 3v3 SCHMITT {parameters}".strip()]
    if part.stock in _SERIES_OHM:
        return [f"r{name} {nets['a']} {nets['b']} {value or _SERIES_OHM[part.stock]}"]
    if part.stock in NOT_SIMULATED:
        return [f"* {part.ref}: {stock.text}, not simulated"]
    letter = _LETTER[stock.kind]
    pins = [nets[p] for p in _ORDER[letter]]
    if part.stock in _ESR_OHM:
        inner = f"{instance}.{part.ref}x".lower()
        return [f"c{name} {pins[0]} {inner} {value}", f"r{name}esr {inner} {pins[1]} {_ESR_OHM[part.stock]}"]
    return [" ".join([letter + name, *pins, value.replace("M", "meg") if letter in "rc" else stock.model])]


def deck(title: str, body: list[str]) -> str:
    """A whole netlist: title, models, body."""
    return "\n".join([f"* {title}", MODELS.read_text().rstrip(), *body, ".end", ""])
