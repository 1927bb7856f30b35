"""Where the delay and the lag that are removed come from, as facts; `wording/delay.py` has their sentences."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum, auto

from ringpull.analysis.delay.cues import TimeZero


class Unfit(Enum):
    """Why a drive's events show no delay."""

    NO_PRESSURE = auto()
    NO_SIGNAL = auto()
    FEW_EVENTS = auto()
    UNCERTAIN = auto()


@dataclass(frozen=True)
class NotFromEvents:
    """Exhaust volume (litres) and lag (seconds), each configured or else assumed.

    unfit: why the drive's events show no delay; None if they were not asked. events: how many are usable.
    """

    volume_l: float
    volume_configured: bool
    lag_s: float
    lag_configured: bool
    unfit: Unfit | None = None
    events: int = 0


@dataclass(frozen=True)
class LagApart:
    """A configured lag that is outside the 95 % interval of the lag that the drive shows. Seconds."""

    configured_s: float
    found_s: float
    u_s: float


@dataclass(frozen=True)
class FromEvents:
    """Identified from a drive's events.

    cuts, ends, steps, tails: fuel cuts, their ends, steps of target lambda, falls after cuts that were fitted.
    lag_shown: whether the events show the lag; else it is that of `otherwise`, what holds without the events.
    lag_apart: a configured lag that the drive contradicts. seen, used: events there were, and those taken of them, at
    most `most` of a kind.
    """

    cuts: int
    ends: int
    steps: int
    tails: int
    zero: TimeZero
    lag_shown: bool
    otherwise: NotFromEvents
    lag_apart: LagApart | None = None
    seen: int = 0
    used: int = 0
    most: int = 0


Origin = NotFromEvents | FromEvents
