"""What the logger reads in a run of the whole build, and what it notices by itself."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from hardware.circuit import car, failures
from hardware.circuit.accuracy import nominal_gain
from hardware.circuit.blocks import BY_NAME
from hardware.circuit.failures import Run
from shared_math import judging, transfer

INPUTS = {  # build -> what is read -> pin
    "minimum": {"lambda": "a0"},
    "full": {"lambda": "a0", "pressure": "a1", "throttle": "a2", "battery": "a3"},
    "board": {"lambda": "a0", "lambda_2": "a1", "throttle": "a2", "pressure": "x0", "battery": "x1"},
}
CHECKS = {  # build -> lambda -> pin that measures its signal wire against the logger's own ground
    "minimum": {"lambda": "a2"},
    "full": {},
    "board": {"lambda": "x2", "lambda_2": "x4"},
}
RAIL = {"board": "x6"}  # build -> pin that measures half of 3V3
CALLED = {"lambda": "check of lambda", "lambda_2": "check of lambda_2", "rail": "check of the reference"}
RAIL_V = (3.13, 3.47)  # as in the board's logger.json: 3V3 by 2 %, reference and resistors by 1 %, and some room
SEEN_V = 0.03
REFERENCE_V = 3.0  # of the reference block
_BATTERY_GAIN = 10 / 57
_FRONT = BY_NAME["differential"]
WIRE_OHM = _FRONT.value("R1") + _FRONT.value("R2"), _FRONT.value("R3")  # before and behind its node P
_WIRE_GAIN = WIRE_OHM[1] / sum(WIRE_OHM)
_FULL_V = 5.0
# As in the analysis (wire_check): the wire's volts may grow otherwise than a session's by this, over at least _SPAN_V
_SLOPE = 0.04
_SPAN_V = 1.0


@dataclass(frozen=True)
class Reading:
    """volts: channel -> at its terminal as the logger computes them ("lean": lambda's at the end of the run).

    shown: names of what the logger shows a fault about while it records: lambda channels of which the wire check is
    off, "rail". told: lambda channels that the report contradicts by the wire check.
    """

    volts: dict[str, float] = field(default_factory=dict)
    shown: frozenset[str] = frozenset()
    told: frozenset[str] = frozenset()


def converter_pins(build: str) -> dict[str, str]:
    """All that the external converter reads, the checks too: name -> pin."""
    checks = {CALLED[name]: pin for name, pin in CHECKS[build].items()}
    checks |= {CALLED["rail"]: RAIL[build]} if build in RAIL else {}
    return {name: pin for name, pin in {**INPUTS[build], **checks}.items() if pin[0] == "x"}


def without(one: Reading, unread: tuple[str, ...]) -> Reading:
    """The reading where these are unread: what they would notice is not noticed."""
    gone = {name for name, called in CALLED.items() if called in unread}
    return replace(one, shown=one.shown - gone, told=one.told - gone)


class _Pins:
    """The pins of a run in volts as the converters give them, which know their reference alone."""

    def __init__(self, run: Run):
        self.run, self.ground = run, run.bench.analog_ground
        self.most_v = 3.3
        self.scale = 3.3 / run.pin("3v3") if run.bench.board.name == "rp2" else 1.0
        self.outer = self.scale
        if any(use.block == "reference" for use in run.bench.uses):
            self.most_v, self.scale = REFERENCE_V, REFERENCE_V / run.pin("ref")
            self.outer = REFERENCE_V / run.volts("ref", self.ground)

    def volts(self, pin: str, gain: float, at_s: float | None = None) -> float:
        """At the terminal."""
        on_board = pin[0] != "x"
        volts = self.run.pin(pin, at_s) if on_board else self.run.volts(pin, self.ground, at_s)
        return min(max(volts * (self.scale if on_board else self.outer), 0.0), self.most_v) / gain


def read(run: Run) -> Reading:
    """What the logger reads after the fault."""
    pins, build = _Pins(run), run.bench.build.name
    gains = {"battery": _BATTERY_GAIN}
    out = {"lean": pins.volts("a0", nominal_gain())}
    for name, pin in INPUTS[build].items():
        out[name] = pins.volts(pin, gains.get(name, nominal_gain()), failures.LEAN_S)
    shown, told = set(), set()
    for name, pin in CHECKS[build].items():
        own = INPUTS[build][name]
        pairs = [
            (pins.volts(own, nominal_gain(), at), pins.volts(pin, _WIRE_GAIN, at)) for at in (failures.LEAN_S, None)
        ]
        if any(_apart(*pair) for pair in pairs):
            shown.add(name)
        if _bent(*pairs):
            told.add(name)
    if build in RAIL and not RAIL_V[0] <= pins.volts(RAIL[build], 0.5) <= RAIL_V[1]:
        shown.add("rail")
    return Reading(out, frozenset(shown), frozenset(told))


def _inside(volts: float) -> bool:
    return transfer.RAIL * _FULL_V < volts < (1 - transfer.RAIL) * _FULL_V


def _apart(reading_v: float, wire_v: float) -> bool:
    """Whether the logger would show it at once; it does not ask where lambda is at an end of its range."""
    return _inside(reading_v) and not -judging.WIRE_BELOW_V <= wire_v - reading_v <= judging.WIRE_ABOVE_V


def _bent(first: tuple[float, float], last: tuple[float, float]) -> bool:
    """Whether a session that has both readings shows that some of the signal is lost."""
    span = last[0] - first[0]
    known = all(_inside(volts) for pair in (first, last) for volts in pair)
    return known and abs(span) >= _SPAN_V and abs((last[1] - first[1]) / span - 1) > _SLOPE


def worst(run: Run) -> Reading:
    """What the logger reads; where clamp transistors carry current, with them alike and unlike both ways: the one that
    is too rich unseen, or too rich, or else the one that is furthest off."""
    found = [read(run)]
    if run.clamps_carry():
        found += [read(failures.run(replace(run.bench, down=down), run.fault)[0]) for down in (1.0, -1.0)]
    return max(found, key=_badness)


def _badness(one: Reading) -> tuple[float, float, float]:
    rich = max(car.TRUE_V[name] - one.volts[name] for name in ("lambda", "lean"))
    off = max(abs(volts - car.TRUE_V[name]) for name, volts in one.volts.items())
    rich = rich if rich > SEEN_V else 0.0
    return (0.0 if {"lambda", "rail"} & (one.shown | one.told) else rich), rich, off
