"""Widths and distances of copper, net class by net class, and the formulas behind them.

Currents follow from the circuit: fuse F1 holds the supply to 1 A, the RP2040 board gives 0.3 A at 3V3 (its maker's
figure, from memory), resettable fuses hold the sensors to 0.1 A.
"""

from __future__ import annotations

from dataclasses import dataclass

COPPER_MM = 0.035
VIA_MM, VIA_DRILL_MM = 0.8, 0.4
POUR_CLEAR_MM, POUR_LEAST_MM = 0.3, 0.25
RISE_K = 10.0
_IPC_K, _IPC_B, _IPC_C = 0.048, 0.44, 0.725  # outer layers
_MIL_MM = 0.0254


def width_for(current_a: float, rise_k: float = RISE_K, copper_mm: float = COPPER_MM) -> float:
    """Least width in mm of a track on an outer layer that warms by rise_k: IPC-2221, section 6.2, I = k dT^b A^c with A
    in square mils (constants from memory)."""
    area_mil2 = (current_a / (_IPC_K * rise_k**_IPC_B)) ** (1 / _IPC_C)
    return area_mil2 * _MIL_MM**2 / copper_mm


def clearance_for(volts: float) -> float:
    """Least distance in mm of bare outer copper up to 3050 m: IPC-2221, table 6-1, column B2 (values from memory)."""
    for most, distance in ((30, 0.1), (100, 0.6), (150, 0.6), (170, 1.25), (250, 1.25), (300, 1.25), (500, 2.5)):
        if volts <= most:
            return distance
    return 2.5 + 0.005 * (volts - 500)


@dataclass(frozen=True)
class NetClass:
    """width_mm: of tracks. clear_mm: to copper of other nets. current_a: the most that flows for long. volts: the most
    to what lies beside it, the car's pulses counted in. why: where that comes from."""

    name: str
    width_mm: float
    clear_mm: float
    current_a: float
    volts: float
    why: str


CLASSES = {
    one.name: one
    for one in (
        NetClass("car", 1.5, 0.8, 1.0, 150, "fuse F1; load dump 101 V, pulses to 150 V"),
        NetClass("pulse", 0.5, 0.8, 0.05, 150, "gate and base at the cut-off: they follow the car's volts"),
        NetClass("supply", 0.9, 0.35, 1.0, 30, "behind the cut-off at about 30 V; fuse F1"),
        NetClass("sense", 0.5, 0.35, 0.05, 30, "branches of the supply that carry milliamperes"),
        NetClass("terminal", 0.5, 0.6, 0.1, 101, "a wire of the harness may touch what the car's 12 V reach"),
        NetClass("return", 1.3, 0.6, 2.8, 101, "fusible resistor of 1 ohm: opens at 8 W"),
        NetClass("screen", 0.5, 0.6, 1.0, 101, "fusible resistor of 10 ohm: opens at 8 W"),
        NetClass("rail", 0.8, 0.3, 0.3, 5, "what the RP2040 board gives at 3V3"),
        NetClass("branch", 0.5, 0.3, 0.1, 5, "branches of 3V3"),
        NetClass("coil", 0.6, 0.6, 0.011, 100, "30 kilohm at the coil; within the class the LED's and Zener's volts"),
        NetClass("signal", 0.35, 0.25, 0.03, 30, "resistors of 1 kilohm and more, pins, sounder"),
    )
}
COIL_VOLTS = 400.0
SLOT_CREEPAGE_MM = 4.0  # 400 V, pollution degree 2, material IIIa: IEC 60664-1, table F.5 (value from memory)
_NETS = {
    "12V": "car",
    "P-VD": "car",
    "VP": "car",
    "P-G": "pulse",
    "P-PB": "pulse",
    "P-DZ": "pulse",
    **dict.fromkeys(("VS", "5V", "VBOARD", "H-H", "R-S5"), "supply"),
    **dict.fromkeys(("P-SR", "R-SR", "3V3"), "rail"),
    **dict.fromkeys(("T5", "T6", "C-A"), "coil"),
    "T12": "return",
    "T13": "return",
    "T14": "screen",
}
# Pads between which a net carries its class's current; its other pads hang on thinner branches
MAIN = {
    "12V": (("J1", "1"), ("P-D1", "a")),
    "VP": (("P-R1", "b"), ("P-C1", "a"), ("P-Q1", "s")),
    "VS": (("P-Q1", "d"), ("P-C2", "a"), ("P-C4", "a"), ("P-U1", "in"), ("H-F1", "a"), ("H-D1", "b"), ("R-C2", "a"),
           ("R-U1", "in")),
    "5V": (("P-U1", "out"), ("P-R5", "a"), ("P-D5", "b"), ("P-D4", "a")),
    "VBOARD": (("P-D4", "b"), ("M1", "39")),
    "3V3": (("M1", "36"), ("S-X1", "3V3"), ("S-C1", "a")),
}  # fmt: skip
_BRANCHES = {"car": "pulse", "supply": "sense", "rail": "branch"}
_TERMINALS = ("T3", "T4", "T7", "T8", "T10", "T11", "T15", "T16", "T17", "T18", "T19", "T20", "T21", "T22",
              "T23", "T24", "T25")  # fmt: skip


def class_of(net: str) -> NetClass:
    """The class of a net; what is not named is a signal."""
    return CLASSES[_NETS.get(net, "terminal" if net in _TERMINALS else "signal")]


def branch_of(net: str) -> NetClass:
    """The class of the net's pads that are not in MAIN."""
    own = class_of(net)
    return CLASSES[_BRANCHES[own.name]] if net in MAIN else own
