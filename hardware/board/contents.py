"""What stands on the board: the circuit's blocks, how they are joined, and which socket each cable has."""

from __future__ import annotations

from dataclasses import dataclass, replace

from hardware.circuit.builds import FULL, MINIMUM, Build, Terminal, Use

_PAIR = "screened pair 2 x 0.25 mm2"
_LAMBDA = {"IN": "car_lambda", "SENSE": "car_lambda_ground"}
_OWN = ("T1", "T2", "T3", "T4", "T5", "T6", "T8", "T11", "T12", "T13", "T14", "T15", "T16", "T17", "T18",
        "T23", "T24", "T25")  # fmt: skip

BOARD = Build(
    "board",
    "Board to order: two differential and two high-ohm inputs, battery, two tach lines, coil, screen, buzzer",
    110.0,
    (
        FULL.used("P"),
        FULL.used("H"),
        FULL.used("R"),
        FULL.used("V"),
        MINIMUM.used("A0"),
        Use("A1", "differential", {"IN": "car_lambda_2", "P1": "T21", "SENSE": "car_lambda_2_ground", "M1": "T22",
                                   "P": "lambda_2_plus", "PIN": "a1"}),
        Use("W0", "wire_check", {"P": "lambda_plus", "PIN": "x2"}),
        Use("W1", "wire_check", {"P": "lambda_2_plus", "PIN": "x4"}),
        Use("Y", "rail_check", {"PIN": "x6"}),
        FULL.used("A2"),
        Use("A3", "sensor_tap", {"IN": "car_pressure", "P1": "T7", "SENSE": "car_pressure_ground", "M1": "T10",
                                 "PIN": "x0"}),
        Use("A4", "analog_battery", {"IN": "T1", "PIN": "x1"}),
        Use("N", "reference", {}),
        Use("X", "converter", {"X0": "x0", "X1": "x1", "X2": "x2", "X4": "x4", "X6": "x6",
                               "SCK": "x_sck", "MISO": "x_miso", "MOSI": "x_mosi", "CS": "x_cs"}),
        FULL.used("G"),
        Use("E1", "tach_logic", {"IN": "car_tach", "L": "T19", "PIN": "line_1"}),
        Use("E2", "tach_logic", {"IN": "car_tach_2", "L": "T20", "PIN": "p1"}),
        Use("C", "tach_opto", {"IN": "car_coil", "Z": "T5", "GIN": "car_block", "K": "T6", "PIN": "coil_edges"}),
        Use("J", "tach_select", {"LINE": "line_1", "COIL": "coil_edges", "PIN": "p0"}),
        FULL.used("B"),
        FULL.used("Z"),
        FULL.used("S"),
        FULL.used("D"),
        FULL.used("K"),
    ),
    {
        **{name: FULL.terminals[name] for name in _OWN},
        "T7": Terminal("pressure", "pressure sensor", "signal", _PAIR, "white", 0.25),
        "T10": Terminal("pressure ground", "pressure sensor", "ground", _PAIR, "blue", 0.25),
        "T19": Terminal("tach", "engine computer", "tach output", "0.5 mm2", "turquoise"),
        "T20": Terminal("second pulses", "injector, or a sensor that nothing else reads", "signal", "0.5 mm2", "pink"),
        "T21": Terminal("lambda 2", "second lambda controller", "0-5 V output", _PAIR, "white", 0.25),
        "T22": Terminal("lambda 2 ground", "second lambda controller", "signal ground", _PAIR, "blue", 0.25),
    },
    {},
)  # fmt: skip
NOT_FITTED = ("K",)  # blocks whose pads stay empty: parts without legs, and nobody needs the bus for the answer
_USES = tuple(use for use in BOARD.uses if use.prefix not in NOT_FITTED)
_JOINED = {outer for use in _USES for outer in use.joins.values()} | {"T2"}
FITTED = replace(  # the board as it comes
    BOARD, uses=_USES, terminals={name: end for name, end in BOARD.terminals.items() if name in _JOINED}
)


@dataclass(frozen=True)
class Cable:
    """One pluggable terminal. ways: terminal names from pin 1 on. stock: of socket and plug."""

    ref: str
    title: str
    ways: tuple[str, ...]
    stock: str


CABLES = (
    Cable("J1", "12 V", ("T1", "T2"), "plug_power"),
    Cable("J2", "lambda 1", ("T3", "T4", "T14"), "plug_3"),
    Cable("J3", "lambda 2", ("T21", "T22", "T14"), "plug_3"),
    Cable("J4", "throttle", ("T8", "T11", "T14"), "plug_3"),
    Cable("J5", "pressure", ("T7", "T10", "T14"), "plug_3"),
    Cable("J6", "5 V out", ("T12", "T13"), "plug_2"),
    Cable("J7", "tach", ("T19", "T20", "T14"), "plug_3"),
    Cable("J8", "coil", ("T5", "T6"), "plug_coil"),
    Cable("J9", "button, lamp", ("T15", "T16", "T17", "T18"), "plug_4"),
    Cable("J10", "bus", ("T23", "T24", "T25"), "plug_3"),
)
TEST_POINTS = ("12V", "VS", "5V", "VBOARD", "3V3", "VCH", "VCL", "REF", "AGND", "GND", "a0", "a1", "a2", "x0", "x1",
               "p0", "p1", "button", "power_fail", "gp2", "gp3")  # fmt: skip
