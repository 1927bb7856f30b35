"""What a verdict rests on, as records. Their sentences are made in `ringpull.wording`, where they are shown."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from ringpull.analysis.judge.lean_events import LeanEvent


class Why(Enum):
    """Kinds of reasons; with each the values that belong to it."""

    UNREADABLE = "unreadable"
    MISSING = "missing"  # roles: without which nothing can be judged
    MISSING_OF = "missing of"  # roles, pulls: numbers of the pulls that lack them
    NO_PULL = "no pull"
    LEAN = "lean"  # event
    CLEAN = "clean"  # pulls: how many others have no lean event
    SYSTEMATIC = "systematic"  # shift: lambda
    SPAN = "span"  # pulls: how many, seconds, rpm_from, rpm_to
    LARGEST = "largest"  # excess; beyond: None, "in pieces" or "systematic"; shift
    SPOILED = "spoiled"
    BLIND = "blind"  # banks
    LITTLE = "little"  # judged_s; cause: "pieces", "lost", "not loaded", "unknown" or "mask"; seconds; mask
    HIDDEN = "hidden"  # mask, seconds
    SINGLE = "single"


@dataclass(frozen=True)
class Reason:
    """One reason of a verdict. pull: its number. event: the lean event that it is. values: as listed in Why."""

    kind: Why
    pull: int | None = None
    event: LeanEvent | None = None
    values: Mapping[str, Any] = field(default_factory=dict)


class Assumed(Enum):
    """Kinds of assumptions; with each its values."""

    TARGET = "target"  # source: drive_state.target.Source
    LOAD = "load"  # rule: drive_state.under_load.Rule
    LEAN_EVENT = "lean event"
    DELAY = "delay"  # source: words of the delay's own; bank: None where there is one
    WITHOUT = "without"  # answer, role: of needs.NEEDS
    ONE_TARGET = "one target"
    PART = "part"  # part: uncertainty.Part
    BANKS = "banks"


@dataclass(frozen=True)
class Assumption:
    """What was assumed. values: as listed in Assumed."""

    kind: Assumed
    values: Mapping[str, Any] = field(default_factory=dict)
