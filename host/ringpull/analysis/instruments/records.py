"""What was found out about an instrument, as records."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum

Span = tuple[float, float]


class State(Enum):
    """How a check ended, or how an instrument stands after all of its checks."""

    SOUND = "sound"
    NOT_TESTED = "not tested"
    CONTRADICTED = "contradicted"


class Check(Enum):
    """What was asked of an instrument; with each the figures that a finding of it holds."""

    MOVES = "moves"  # seconds: standing still while the load moved; at: its value; load_s: seconds tested
    CUTS = "answers fuel cuts"  # cuts: known ones; answered; slowest_s
    QUICK = "answers soon enough"  # tails: falls after cuts; tail_s: the usual one; behind_s: the target; correlation
    RICH = "not rich all along"  # pulls' rows: seconds; off: lambda from target under load
    CRUISE = "at 1.0 in cruise"  # seconds; lambda; target
    STEPS = "no faster than gas and sensor"  # steps; seconds: under load; largest: lambda
    DEAD = "measures all along"  # seconds: of running engine at the rich end, or without lambda after the warm-up
    IN_AIR = "not at the lean end"  # share: of running engine at the lean end
    BREAKS = "no breaks"  # breaks: short ones; seconds: without a value while the engine ran
    TWINS = "banks differ"  # apart: standard deviation of their difference, lambda
    BANKS = "banks agree"  # correlation; own: how far this bank moves; other: how far the other does, lambda
    AMBIENT = "ambient at standing engine"  # kpa; seconds; around: of the ambient channel, or NaN
    LIMITS = "possible pressures"  # least, most: kPa of the running engine
    FOLLOWS = "follows the throttle"  # closed, full: kPa; closings, openings: how many, failed: how many did not fit
    SWINGS = "moves with the engine"  # low, high: of the channel; rpm_low, rpm_high
    TOP = "below the top of its range"  # seconds: under load at the top; at: its value there
    FLAT = "no flat top"  # seconds; at: its value there
    COARSE = "fine enough steps"  # step: between neighbouring values
    CLOSES = "closes"  # rest, pct; moments: in which the engine says that it must be closed; open: pct, then
    OPENS = "opens"  # most: pct; kpa: pressure reached, or NaN; rises: times that speed rose long with it closed
    IDLE = "idle speed"  # rpm; seconds
    AGREES = "two speeds agree"  # ratio: of the other to this; other: name
    GEAR = "fits a gear"  # ratio: rpm for each km/h; nearest: of the configured gears; share: of rows that fit
    SUPPLY = "supply voltage"  # volts


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
    REST = "rest position"
    PULSES = "pulses per turn"
    SUPPLY = "supply"


@dataclass(frozen=True)
class Finding:
    """One check of one channel. figures: as listed in Check. spans: where it is contradicted, seconds; empty: all
    over."""

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
    """One channel with all of its findings. role: "lambda", "rpm", "map", "throttle", "fuel_pressure", "battery" or
    "wheel". bank: of
    several lambda sensors the configured one, else the channel's name; None elsewhere. session: whose drive it is."""

    channel: str
    role: str
    bank: str | None
    findings: tuple[Finding, ...]
    session: int | None = None

    @property
    def state(self) -> State:
        """Contradicted by one check; sound where at least one passed and none failed."""
        states = {one.state for one in self.findings}
        if State.CONTRADICTED in states:
            return State.CONTRADICTED
        return State.SOUND if State.SOUND in states else State.NOT_TESTED

    @property
    def against(self) -> tuple[Finding, ...]:
        """The findings that contradict it."""
        return tuple(one for one in self.findings if one.state is State.CONTRADICTED)
