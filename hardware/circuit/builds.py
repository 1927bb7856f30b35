"""The two builds: which blocks, how they are joined, what comes with them."""

from __future__ import annotations

from dataclasses import dataclass

from hardware.circuit.blocks import BY_NAME
from hardware.circuit.model import Block


@dataclass(frozen=True)
class Use:
    """One block of a build. prefix: stands before its parts' names on the perfboard ("A0-R1").

    joins: the block's port -> a terminal ("T3"), a board's signal ("a0"), or both, "T3" left of what is drawn.
    """

    prefix: str
    block: str
    joins: dict[str, str]

    @property
    def data(self) -> Block:
        """The block itself."""
        return BY_NAME[self.block]


@dataclass(frozen=True)
class Build:
    """terminals: screw terminal -> (what is written beside it, device: its pin, wire). loose: stock -> number."""

    name: str
    title: str
    budget_usd: float
    uses: tuple[Use, ...]
    terminals: dict[str, tuple[str, str, str]]
    loose: dict[str, float]


_POWER = {
    "T1": ("+12 V", "switched 12 V, through the 1 A fuse at the source", "red 0.5 mm2"),
    "T2": ("ground", "lambda controller: power ground", "black 0.5 mm2"),
}

MINIMUM = Build(
    "minimum",
    "Minimum build: one lambda, one tach, one button, card",
    25.0,
    (
        Use("P", "supply", {"FEED": "tap", "VBOARD": "VBOARD"}),
        Use("V", "clamp", {}),
        Use("A0", "analog_5v", {"IN": "T3", "PIN": "a0"}),
        Use("E", "tach_logic", {"IN": "T5", "PIN": "p0"}),
        Use("B", "button_lamp", {"B": "button", "LAMP": "lamp"}),
        Use("S", "card", {"SCK": "sck", "CS": "cs", "MOSI": "mosi", "MISO": "miso"}),
    ),
    {
        **_POWER,
        "T3": ("lambda", "lambda controller: 0-5 V output", "screened pair, core 1"),
        "T4": ("lambda ground", "lambda controller: signal ground", "screened pair, core 2"),
        "T5": ("tach", "engine computer: tach output", "0.5 mm2"),
    },
    {"perfboard": 1, "terminal": 3, "case": 1, "wire": 3, "wire_screened": 1, "card": 1},
)

FULL = Build(
    "full",
    "Full build: four analog inputs, one of them differential; coil, screen, buzzer, bus, reservoir, 5 V for sensors",
    60.0,
    (
        Use("P", "supply", {"FEED": "tap", "VBOARD": "VBOARD"}),
        Use("H", "hold_up", {"PF": "power_fail"}),
        Use("R", "sensor_supply", {"OUT": "T12"}),
        Use("V", "clamp", {}),
        Use("A0", "differential", {"IN": "T3", "SENSE": "T4", "PIN": "a0"}),
        Use("A1", "analog_5v", {"IN": "T7", "PIN": "a1"}),
        Use("A2", "analog_5v", {"IN": "T8", "PIN": "a2"}),
        Use("A3", "analog_battery", {"IN": "T9", "PIN": "a3"}),
        Use("E", "tach_opto", {"IN": "T5", "K": "T6", "PIN": "p0"}),
        Use("B", "button_lamp", {"B": "button", "LAMP": "lamp"}),
        Use("Z", "buzzer", {"ON": "buzzer"}),
        Use("S", "card", {"SCK": "sck", "CS": "cs", "MOSI": "mosi", "MISO": "miso"}),
        Use("D", "screen", {"SDA": "sda", "SCL": "scl"}),
        Use("C", "can", {"TX": "can_tx", "RX": "can_rx", "CANH": "T10", "CANL": "T11"}),
    ),
    {
        **_POWER,
        "T3": ("lambda", "lambda controller: 0-5 V output", "screened pair, core 1"),
        "T4": ("lambda ground", "lambda controller: signal ground", "screened pair, core 2"),
        "T5": ("coil", "ignition coil: switched end, up to 400 V", "0.5 mm2, 600 V insulation"),
        "T6": ("coil ground", "engine block: near that coil", "0.5 mm2"),
        "T7": ("0-5 V", "manifold pressure sensor: signal", "screened pair, core 1"),
        "T8": ("0-5 V", "throttle position sensor: signal", "screened pair, core 1"),
        "T9": ("battery", "terminal T1, by a short bridge", "red 0.5 mm2"),
        "T10": ("CAN high", "the car's bus: CAN high", "twisted pair"),
        "T11": ("CAN low", "the car's bus: CAN low", "twisted pair"),
        "T12": ("5 V out", "sensors without a supply of their own: supply", "0.5 mm2"),
        "T13": ("sensor ground", "sensors without a supply of their own: ground", "0.5 mm2"),
    },
    {"perfboard_big": 1, "terminal": 7, "case_big": 1, "wire": 6, "wire_screened": 3, "card": 1},
)

ALL = (MINIMUM, FULL)
