"""Records of the findings about an instrument."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum

Span = tuple[float, float]


class State(Enum):
    """The result of a check, or of all checks of an instrument."""

    SOUND = "sound"
    NOT_TESTED = "not tested"
    CONTRADICTED = "contradicted"


class Check(Enum):
    """The checks, each with the figures that its finding holds."""

    MOVES = "moves"  # seconds: still while the load changed; at: its value; load_s: seconds tested
    STUCK = "moves within a pull"  # seconds, times: still under load; at: its value; rpm_low, rpm_high; tested_s
    CUTS = "answers fuel cuts"  # cuts: known ones; answered; slowest_s
    QUICK = "answers soon enough"  # tails: falls after cuts; tail_s: the usual one; behind_s: the target; correlation
    RICH = "not rich all along"  # seconds: rows of pulls; off: lambda minus target under load
    CRUISE = "at 1.0 in cruise"  # seconds; lambda; target
    STEPS = "no faster than gas and sensor"  # steps; seconds: under load; largest: lambda
    DEAD = "measures all along"  # seconds with the engine running at the rich end, or without lambda after the warm-up
    IN_AIR = "not at the lean end"  # share of the running time at the lean end
    BREAKS = "no breaks"  # breaks: short dropouts; seconds: without a value while the engine ran
    TWINS = "banks differ"  # apart: standard deviation of their difference, lambda
    BANKS = "banks agree"  # correlation; own: how far this bank moves; other: how far the other does, lambda
    AMBIENT = "ambient at standing engine"  # kpa; seconds; around: of the ambient channel, or NaN
    LIMITS = "possible pressures"  # least, most: kPa with the engine running
    FOLLOWS = "follows the throttle"  # closed, full: kPa; closings, openings: how many, failed: how many did not fit
    PROMPT = "answers the throttle soon enough"  # seconds: usual time to fall by half; closings: how many
    AT_IDLE = "low at idle"  # low, high: kPa at the idles that fit and that do not; idles: how many, failed
    # ratio: air by injector time over that of the pressure shown; shown, told: kPa, by sensor and by injector time; to:
    # kPa up to which it was tested; seconds. Not tested: kpa, reached in the drive, or none without boost
    BOOST = "right above the surrounding air"
    SWINGS = "moves with the engine"  # low, high: of the channel; rpm_low, rpm_high
    TOP = "below the top of its range"  # seconds: under load at the top; at: its value there
    FLAT = "no flat top"  # seconds; at: its value there
    COARSE = "fine enough steps"  # step: between neighbouring values
    CLOSES = "closes"  # rest: pct when closed; moments: when the engine shows that it must be closed; open: pct then
    OPENS = "opens"  # most: pct; kpa: pressure reached, or NaN; rises: long rises of speed with it closed
    IDLE = "idle speed"  # rpm; seconds
    AGREES = "two speeds agree"  # ratio: the other speed over this one; other: its name
    GEAR = "fits a gear"  # ratio: rpm per km/h; nearest: that of the nearest configured gear; share: of rows that fit
    SUPPLY = "supply voltage"  # volts
    # apart_v: median of how far lambda is from its signal wire; share: of that wire's volts that it has, or NaN;
    # seconds: where it is contradicted, else of the running engine
    WIRE = "agrees with its signal wire"
    KNOWN = "reads its known value"  # value: outside, or NaN without one, else the usual; low, high: limits; seconds


class Cause(Enum):
    """The likely cause of a contradiction."""

    WIRING = "wiring"
    POWER = "power"
    LOOSE = "loose contact"
    SENSOR = "sensor"
    SCALE = "scale"
    GAUGE = "gauge for absolute"
    UNIT = "unit"
    FIGURES = "wrong sensor figures"
    RANGE = "sensor too small"
    HOSE = "hose off"
    BOOST = "wrong above the surrounding air"
    REST = "rest position"
    PULSES = "pulses per turn"
    SUPPLY = "supply"
    GROUND = "ground core"
    REFERENCE = "reference"


@dataclass(frozen=True)
class Finding:
    """One check of one channel. figures: as listed in Check. spans: (start_s, end_s) of the contradiction; empty: the
    whole drive."""

    check: Check
    state: State
    figures: Mapping[str, float | str] = field(default_factory=dict)
    cause: Cause | None = None
    spans: tuple[Span, ...] = ()


def sound(check: Check, **figures: float | str) -> Finding:
    """A check that the channel passed."""
    return Finding(check, State.SOUND, figures)


def not_tested(check: Check) -> Finding:
    """A check for which the drive holds no evidence."""
    return Finding(check, State.NOT_TESTED)


def contradicted(check: Check, cause: Cause, spans: tuple[Span, ...] = (), /, **figures: float | str) -> Finding:
    """A check that the channel failed."""
    return Finding(check, State.CONTRADICTED, figures, cause, spans)


@dataclass(frozen=True)
class Instrument:
    """One channel with all of its findings.

    role: "lambda", "rpm", "map", "throttle", "fuel_pressure", "battery", "wheel" or "reference". bank:
    of several lambda sensors the configured bank, else the channel's name; None for other channels. session: id of the
    session. label: as `called`, if not its channel.
    """

    channel: str
    role: str
    bank: str | None
    findings: tuple[Finding, ...]
    session: int | None = None
    label: str = ""

    @property
    def called(self) -> str:
        """Its name to show: a lambda sensor's bank and channel, else its channel."""
        return self.label or self.channel

    @property
    def state(self) -> State:
        """Contradicted if any check failed; sound if at least one passed and none failed."""
        states = {one.state for one in self.findings}
        if State.CONTRADICTED in states:
            return State.CONTRADICTED
        return State.SOUND if State.SOUND in states else State.NOT_TESTED

    @property
    def against(self) -> tuple[Finding, ...]:
        """The findings that contradict it."""
        return tuple(one for one in self.findings if one.state is State.CONTRADICTED)
