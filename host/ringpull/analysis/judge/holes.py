"""Holes, the places where an engine ran lean: the lean events of all pulls at the same speeds on the same bank."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from ringpull.analysis.drive_state import roles
from ringpull.analysis.drive_state.columns import Columns
from ringpull.analysis.instruments.pressure_checks import FUEL_MOVES_KPA
from ringpull.analysis.judge import hints
from ringpull.analysis.judge.hints import Hint
from ringpull.analysis.judge.lean_events import LEAST_DEPTH, LeanEvent

OVERLAP = 0.5  # events of one hole overlap by this share of the narrower event's speeds
SUPPLIES = ("fuel_pressure", "battery")  # reported also if they did not fall
# least change over the drive, since a channel that never changes proves nothing
LEAST_MOVED = {"fuel_pressure": FUEL_MOVES_KPA, "battery": 0.3}
FINE, LEAN = "on target", "lean"
SURE = 2.0  # the scatter of a channel said to have held may hide so many times the least change that counts


@dataclass(frozen=True)
class TableCell:
    """The fuel map's cell of a hole.

    ratio: mean of lambda over target over `passes`. factor: the map's first step for the fuel, NaN for none.
    """

    rpm: float
    load: float | None
    load_unit: str
    ratio: float
    factor: float
    passes: int


@dataclass(frozen=True)
class Hole:
    """One lean place.

    number, event: the pull and event where it is deepest. pulls: numbers of all pulls that have it. of: number of
    judged pulls that covered it. judged: number of all judged pulls. fine: numbers of the pulls that were on target
    there. rpm_from, rpm_to, seconds: those of the widest and longest event. hints: changes during any of its events,
    each kind once with its largest size. held: roles of SUPPLIES that were logged and did not fall. other: state of the
    other of two banks, FINE, LEAN or "" if not known; other_label: the name of that bank; other_share: its lambda above
    target as a share of it. cell: its cell of the fuel map.
    """

    number: int
    event: LeanEvent
    pulls: tuple[int, ...]
    of: int
    judged: int
    fine: tuple[int, ...]
    rpm_from: float
    rpm_to: float
    seconds: float
    hints: tuple[Hint, ...] = ()
    held: tuple[str, ...] = ()
    other: str = ""
    other_label: str = ""
    other_share: float = 0.0
    cell: TableCell | None = None

    @property
    def measured(self) -> float:
        """Lambda at the deepest point."""
        return self.event.target + self.event.depth

    @property
    def at_limiter(self) -> bool:
        """Whether engine speed stayed at the highest of the drive, as it does where a limiter cuts fuel."""
        return any(one.kind == "limiter" for one in self.hints)

    @property
    def share(self) -> float:
        """The depth as a share of the target."""
        return self.event.depth / self.event.target

    @property
    def half_width(self) -> float:
        """Half-width of the 95 % interval of `measured`, with random and systematic errors."""
        return float(np.hypot(self.event.depth_u, self.event.systematic_u))


class Found(NamedTuple):
    """A lean event with its pull, and the state of the other bank, as in Hole."""

    pull: Any
    event: LeanEvent
    other: str
    other_label: str
    other_share: float


def holes(pulls: Iterable[Any], judged: Iterable[Any]) -> list[Hole]:
    """The holes of pulls, the deepest first; last those at a limiter, which may be fuel cuts and nothing else.

    pulls: answer.PullAnswer, or objects with the same numbers. judged: those of them that the verdict is about.
    """
    judged = list(judged)
    every = [(p, e) for p in pulls if not p.spoiled for e in p.lean_events]
    groups: list[list[Found]] = []
    for pull, event in sorted(every, key=lambda one: -one[1].depth):
        one = Found(pull, event, *other_bank(pull.judged, event))
        group = next((g for g in groups if same_place(g[0], one)), None)
        if group is None:
            groups.append([one])
        else:
            group.append(one)
    out = [hole(group, judged) for group in groups]
    return sorted(out, key=lambda one: one.at_limiter)


def same_place(one: Found, other: Found) -> bool:
    """Whether two events are at the same engine speeds and on the same bank (or both on both banks), or both at the
    limiter, whose cuts scatter."""
    a, b = one.event, other.event
    if all(any(hint.kind == "limiter" for hint in event.hints) for event in (a, b)):
        return True
    shared = min(a.rpm_to, b.rpm_to) - max(a.rpm_from, b.rpm_from)
    narrower = min(a.rpm_to - a.rpm_from, b.rpm_to - b.rpm_from)
    return (a.bank == b.bank or one.other == other.other == LEAN) and shared >= OVERLAP * narrower


def hole(group: list[Found], judged: list[Any]) -> Hole:
    """The hole made of these events, the deepest first."""
    pull, event, other, other_label, other_share = group[0]
    events = [one.event for one in group]
    numbers = {one.pull.number for one in group}
    rpm_from, rpm_to = min(e.rpm_from for e in events), max(e.rpm_to for e in events)
    others = [(p.number, p.excess_between(rpm_from, rpm_to, event.target)) for p in judged if p.number not in numbers]
    there = [(number, excess) for number, excess in others if excess is not None]
    moved: dict[tuple[str, str], Hint] = {}
    for hint in (hint for e in events for hint in e.hints):
        known = moved.get((hint.kind, hint.role))
        if known is None or hint.size > known.size:
            moved[hint.kind, hint.role] = hint
    roles_moved = {role for _, role in moved}
    return Hole(
        number=pull.number,
        event=event,
        pulls=tuple(sorted(numbers)),
        of=len(numbers) + len(there),
        judged=len(numbers | {p.number for p in judged}),
        fine=tuple(number for number, excess in there if excess < LEAST_DEPTH / 2.0),
        rpm_from=rpm_from,
        rpm_to=rpm_to,
        seconds=max(e.length_s for e in events),
        hints=tuple(moved.values()),
        held=tuple(role for role in held(pull, event) if role not in roles_moved),
        other=other if all(one.other == other for one in group) else "",
        other_label=other_label,
        other_share=other_share,
    )


def held(pull: Any, event: LeanEvent) -> list[str]:
    """The roles of SUPPLIES that were logged, changed at some time in the drive, and surely did not fall in an
    event."""
    columns: Columns = pull.judged.columns
    out = []
    for role in SUPPLIES:
        values = columns.extra.get(role)
        if values is None or not np.isfinite(values).any():
            continue
        if still(columns, role):
            continue
        if role == "fuel_pressure" and columns.map_kpa is not None:
            values = hints.flat_pressure(values, columns.map_kpa)
        inside, around = hints.around(columns, event.start_s, event.end_s, (pull.pull.start_s, pull.pull.end_s))
        step, error = hints.change(values, inside, around)
        least = hints.SIGNS[role][0]
        if np.isfinite(error) and -step + hints.CLEAR / 2.0 * error < SURE * least:
            out.append(role)
    return out


def still(columns: Columns, role: str) -> bool:
    """Whether one of SUPPLIES was logged and never changed in the drive: nothing shows that its sensor works."""
    values = columns.extra.get(role)
    if values is None or not np.isfinite(values).any():
        return False
    return float(np.ptp(np.nanpercentile(values, (0.5, 99.5)))) < LEAST_MOVED[role]


def other_bank(judged: Any, event: LeanEvent) -> tuple[str, str, float]:
    """(state of the other of two banks during an event: FINE, LEAN or "" if not known, its label, its lambda above
    target as a share of it)."""
    others = [bank for bank in judged.banks if bank != event.bank]
    if event.bank is None or len(others) != 1:
        return "", "", 0.0
    rows = judged.columns.rows(event.start_s, event.end_s)
    excess = judged.excess(others[0], rows)[judged.shown(rows)]
    excess = excess[np.isfinite(excess)]
    if len(excess) < (rows.stop - rows.start) / 2:
        return "", "", 0.0
    mean = float(excess.mean())
    state = FINE if mean < LEAST_DEPTH / 2.0 else LEAN
    return state, roles.bank_label(judged.columns.config, others[0]), mean / event.target
