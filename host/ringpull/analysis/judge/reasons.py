"""The reasons of a verdict and the assumptions, as records. `ringpull.wording` makes their sentences."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from ringpull.analysis.judge.lean_events import LeanEvent


class Why(Enum):
    """Kinds of reasons, each with the values of its reasons."""

    UNREADABLE = "unreadable"
    MISSING = "missing"  # roles: needed for judging, but missing
    MISSING_OF = "missing of"  # roles; pulls: numbers of the pulls that lack them
    # problem: (code, where, detail) of shared_math.config.check; sessions: which, () for all
    REFUSED_CONFIG = "refused configuration"
    NO_PULL = "no pull"
    LEAN = "lean"  # event
    CLEAN = "clean"  # pulls: number of other pulls, without a lean event
    SYSTEMATIC = "systematic"  # shift: lambda
    SPAN = "span"  # pulls: number of pulls; seconds, rpm_from, rpm_to
    LARGEST = "largest"  # excess; beyond: None or as in verdict.py; shift; rpm; call: excess that makes an event
    SPOILED = "spoiled"
    SPOILED_LEAN = "spoiled lean"  # event
    BLIND = "blind"  # banks
    # judged_s; cause: "pieces", "lost", "not loaded", "unknown" or "mask"; seconds; mask; excess, rpm: if it was high
    LITTLE = "little"
    # mask, bank (None for all), seconds, longest_s, rpm_from, rpm_to; stretches: their number; target: of the longest
    HIDDEN = "hidden"
    # pulls: number of pulls; seconds; last, most: of the table and of the drive; unit
    BEYOND_TARGET = "beyond target"
    # family: of the fuel; full, boosted: its usual lambda at full load without and with boost; which is not known
    NO_TARGET = "no target"
    SPOOL_LEAN = "spool lean"  # excess; pulls, of: numbers of pulls; agreed, rpm_from, rpm_to
    ONE_TARGET = "one target"  # lean early in a pull against a target of one number
    SPOOL_UNJUDGED = "spool unjudged"  # rpm_from, rpm_to
    LAMP = "lamp"  # warned: lamp.Warned
    WIRING = "wiring"  # wiring: verdict.Wiring
    SINGLE = "single"
    GAPS = "gaps"  # seconds; gaps: their number; start_s, end_s of the longest; engine was turning beside them
    LOST_PULLS = "lost pulls"  # pulls: number of marked pulls of which no row was recorded
    ENDS_OPEN = "ends open"  # rpm: engine speed under load at the last row of the recording
    WITHDRAWN = "withdrawn"  # press_s; rpm_from, rpm_to: of a run whose only mark was withdrawn
    LOAD_UNTOLD = "load untold"  # seconds, rpm_from, rpm_to: held in a mark, where only a rise of speed tells load
    # seconds, rpm_from, rpm_to: of a run that goes on behind a mark, slower than the other marks; excess: if known
    SLOWER_REST = "slower rest"
    OTHER_GEAR = "other gear"  # start_s, rpm_from, rpm_to: of a run before or after a gear change beside a pull
    UNMARKED = "unmarked"  # runs: number of runs in no pull that rise as fast; start_s of the first; rpm_from, rpm_to
    CUT_SHORT = "cut short"  # file; empty: it has no rows at all
    DOUBT = "doubt"  # instrument: instruments.records.Instrument, contradicted
    # codes: (code, "stored", "pending" or "permanent") of one direction; lean: which; word: the verdict
    CAR_CODES = "car codes"
    STAND_IN = "stand-in"  # stand_in: instruments.trust.StandIn


@dataclass(frozen=True)
class Reason:
    """One reason of a verdict. pull: number of its pull. event: its lean event. values: as listed in Why."""

    kind: Why
    pull: int | None = None
    event: LeanEvent | None = None
    values: Mapping[str, Any] = field(default_factory=dict)


class Assumed(Enum):
    """Kinds of assumptions, each with the values of its assumptions."""

    TARGET = "target"  # source: drive_state.target.Source
    LOAD = "load"  # rule: drive_state.under_load.Rule
    LEAN_EVENT = "lean event"
    SPOOL = "spool"
    DELAY = "delay"  # source: the delay's own words; bank: None if there is only one
    WITHOUT = "without"  # answer, role: of needs.NEEDS
    ONE_TARGET = "one target"
    PART = "part"  # part: uncertainty.Part
    BANKS = "banks"


@dataclass(frozen=True)
class Assumption:
    """One assumption. values: as listed in Assumed."""

    kind: Assumed
    values: Mapping[str, Any] = field(default_factory=dict)
