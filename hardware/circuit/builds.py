"""The two builds: which blocks, how they are joined, what comes with them."""

from __future__ import annotations

from dataclasses import dataclass

from hardware.circuit.blocks import BY_NAME
from hardware.circuit.model import Block, Part

# Places in the car that a block's part is joined to by itself, without a wire of the harness: net -> (device, its pin)
CAR = {
    "tap": ("switched 12 V", "tap"),
    "car_ground": ("lambda controller", "power ground"),
    "car_lambda": ("lambda controller", "0-5 V output"),
    "car_lambda_ground": ("lambda controller", "signal ground"),
    "car_tach": ("engine computer", "tach output"),
    "car_coil": ("ignition coil", "switched end, up to 400 V"),
    "car_block": ("engine block", "a bolt near that coil"),
    "car_throttle": ("throttle position sensor", "signal"),
    "car_throttle_ground": ("throttle position sensor", "ground"),
    "car_bus_high": ("diagnostic socket", "pin 6, CAN high"),
    "car_bus_low": ("diagnostic socket", "pin 14, CAN low"),
    "car_bus_ground": ("diagnostic socket", "pin 5, ground (4 where 5 is empty)"),
}


@dataclass(frozen=True)
class Use:
    """One block of a build. prefix: stands before its parts' names on the perfboard ("A0-R1").

    joins: a net of the block -> a terminal ("T3"), a board's signal ("a0"), or a place of CAR.
    """

    prefix: str
    block: str
    joins: dict[str, str]

    @property
    def data(self) -> Block:
        """The block itself."""
        return BY_NAME[self.block]


@dataclass(frozen=True)
class Terminal:
    """label: what is written beside it. device, pin: where its wire ends. wire: what it is made of. colour: of the
    core.

    area_mm2: of the copper. clear: it stands alone, 5 mm from every other. own: what its wire ends at is the user's
    own, nothing of the car reads it.
    """

    label: str
    device: str
    pin: str
    wire: str
    colour: str
    area_mm2: float = 0.5
    clear: bool = False
    own: bool = False

    @property
    def place(self) -> str:
        """Where the wire ends, in words."""
        return f"{self.device}: {self.pin}" if self.device else "nothing"


@dataclass(frozen=True)
class Build:
    """terminals: screw terminal -> Terminal. loose: stock -> number, what neither blocks nor wires to the car need but
    the build does."""

    name: str
    title: str
    budget_usd: float
    uses: tuple[Use, ...]
    terminals: dict[str, Terminal]
    loose: dict[str, float]

    def reaches(self, place: str) -> bool:
        """Whether a wire of it ends at that place of the car."""
        return any(place in use.joins.values() for use in self.uses)

    def used(self, prefix: str) -> Use:
        """The block that stands under that prefix."""
        return next(use for use in self.uses if use.prefix == prefix)

    def far_parts(self, terminal: str) -> list[tuple[Use, Part]]:
        """The parts at the far end of a terminal's wire, from the terminal outward."""
        found: list[tuple[Use, Part]] = []
        for use in self.uses:
            net = next((net for net, outer in use.joins.items() if outer == terminal), None)
            net = "0" if terminal == "T2" else net
            while net is not None:
                ahead = [p for p in use.data.parts if p.place and net in p.pins.values() and (use, p) not in found]
                found += [(use, part) for part in ahead[:1]]
                net = next((n for part in ahead[:1] for n in part.pins.values() if n != net), None)
                if net in use.joins:
                    break
        return found


_PAIR = "screened pair 2 x 0.25 mm2"
_POWER = {
    "T1": Terminal("+12 V", "switched 12 V", "on with ignition", "0.5 mm2", "red"),
    "T2": Terminal("ground", "lambda controller", "power ground, by a ring lug", "0.5 mm2", "black"),
    "T3": Terminal("lambda", "lambda controller", "0-5 V output", _PAIR, "white", 0.25),
    "T4": Terminal("lambda ground", "lambda controller", "signal ground", _PAIR, "blue", 0.25),
}
_PANEL = {
    "T14": Terminal(
        "screens", "", "", "the screens of all cables; cut short at their far ends", "bare", 0.25, own=True
    ),
    "T15": Terminal("button", "button", "one leg", "0.5 mm2", "green", own=True),
    "T16": Terminal("button return", "button", "other leg", "0.5 mm2", "brown", own=True),
    "T17": Terminal("lamp +", "lamp", "anode, long leg", "0.5 mm2", "yellow", own=True),
    "T18": Terminal("lamp -", "lamp", "cathode", "0.5 mm2", "grey", own=True),
}
_SUPPLY = Use(
    "P", "supply", {"FEED": "tap", "LUG": "car_ground", "12V": "T1", "VBOARD": "VBOARD"}
)  # its F1 sits where T1's wire begins
_LAMBDA = Use(
    "A0",
    "differential",
    {"IN": "car_lambda", "P1": "T3", "SENSE": "car_lambda_ground", "M1": "T4", "PIN": "a0"},
)
_CHECKED = Use("A0", "differential", {**_LAMBDA.joins, "P": "lambda_plus"})  # where W0 looks at its node P
_SCREENS = Use("G", "screens", {"SCREEN": "T14"})
_BUTTON = Use(
    "B",
    "button_lamp",
    {"B": "button", "LAMP": "lamp", "W": "T15", "WR": "T16", "LA": "T17", "LK": "T18"},
)
_CARD = Use("S", "card", {"SCK": "sck", "CS": "cs", "MOSI": "mosi", "MISO": "miso"})
_BOTH = {"socket_strip": 2, "card": 1, "fuse_tap": 1, "lug": 1, "spacer": 4, "wire": 2}

MINIMUM = Build(
    "minimum",
    "Minimum build: one lambda, one tach, one button, card",
    40.0,
    (
        _SUPPLY,
        Use("V", "clamp", {}),
        _CHECKED,
        Use("W0", "wire_check", {"P": "lambda_plus", "PIN": "a2"}),
        _SCREENS,
        Use("E", "tach_logic", {"IN": "car_tach", "L": "T5", "PIN": "p0"}),
        _BUTTON,
        _CARD,
    ),
    {
        **_POWER,
        "T5": Terminal("tach", "engine computer", "tach output", "0.5 mm2", "violet"),
        **_PANEL,
    },
    {
        "perfboard": 1,
        "terminal": 5,
        "dip8": 1,
        "dip14": 1,
        "case": 1,
        "gland": 3,
        **_BOTH,
    },
)

FULL = Build(
    "full",
    "Full build: four analog inputs, two of them differential; coil, bus, screen, buzzer, reservoir, 5 V for sensors",
    85.0,
    (
        _SUPPLY,
        Use("H", "hold_up", {"PF": "power_fail", "12V": "T1"}),
        Use("R", "sensor_supply", {"OUT": "T12", "GOUT": "T13"}),
        Use("V", "clamp", {}),
        _LAMBDA,
        Use("A1", "analog_5v", {"IN": "T7", "PIN": "a1"}),
        Use(
            "A2",
            "sensor_tap",
            {"IN": "car_throttle", "P1": "T8", "SENSE": "car_throttle_ground", "M1": "T11", "PIN": "a2"},
        ),
        Use("A3", "analog_battery", {"IN": "T1", "PIN": "a3"}),
        _SCREENS,
        Use("E", "tach_opto", {"IN": "car_coil", "Z": "T5", "GIN": "car_block", "K": "T6", "PIN": "p0"}),
        _BUTTON,
        Use("Z", "buzzer", {"ON": "buzzer"}),
        _CARD,
        Use("D", "screen", {"SDA": "sda", "SCL": "scl"}),
        Use(
            "K",
            "can",
            {
                "SCK": "x_sck",
                "MOSI": "x_mosi",
                "MISO": "x_miso",
                "CS": "bus_cs",
                "INT": "bus_int",
                "H": "car_bus_high",
                "CANH": "T23",
                "L": "car_bus_low",
                "CANL": "T24",
                "G": "car_bus_ground",
                "BG": "T25",
            },
        ),
    ),
    {
        **_POWER,
        "T5": Terminal("coil", "ignition coil", "switched end", "0.5 mm2, 600 V insulation", "violet", clear=True),
        "T6": Terminal(
            "coil ground", "engine block", "a bolt near that coil", "0.5 mm2, 600 V insulation", "brown", clear=True
        ),
        "T7": Terminal("pressure", "pressure sensor of your own", "signal", "0.5 mm2", "white", own=True),
        "T8": Terminal("throttle", "throttle position sensor", "signal", _PAIR, "white", 0.25),
        "T11": Terminal("throttle ground", "throttle position sensor", "ground", _PAIR, "blue", 0.25),
        "T12": Terminal("5 V out", "pressure sensor of your own", "supply", "0.5 mm2", "orange", own=True),
        "T13": Terminal("sensor ground", "pressure sensor of your own", "ground", "0.5 mm2", "brown", own=True),
        **_PANEL,
        "T23": Terminal("CAN high", "diagnostic socket", "pin 6", "twisted pair, below 1 m", "yellow", 0.25),
        "T24": Terminal("CAN low", "diagnostic socket", "pin 14", "twisted pair, below 1 m", "green", 0.25),
        "T25": Terminal("bus ground", "diagnostic socket", "pin 5 (4 where 5 is empty)", "0.25 mm2", "brown", 0.25),
    },
    {
        "perfboard_big": 1,
        "adapter_so8": 1,
        "adapter_so14": 1,
        "bus_plug": 1,
        "terminal": 10,
        "terminal_clear": 1,
        "dip8": 2,
        "dip14": 1,
        "dip4": 1,
        "case_big": 1,
        "gland": 7,
        **_BOTH,
        "lug": 2,
    },
)

ALL = (MINIMUM, FULL)
