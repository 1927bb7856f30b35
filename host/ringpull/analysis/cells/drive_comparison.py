"""The comparison of two drives, which page, print, picture and command all show.

The mixture by engine speed and load, the number of lean pulls on each side, and differences of the pulls themselves.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from ringpull.analysis.cells import compare, sets
from ringpull.analysis.cells.compare import Comparison
from ringpull.analysis.cells.passes import Axes, SessionPulls
from ringpull.analysis.drive_state import roles
from ringpull.analysis.instruments.records import Instrument
from ringpull.analysis.judge import holes, needs
from ringpull.analysis.judge.lean_events import LeanEvent
from ringpull.analysis.judge.session import Judged, judge_span

LEAST_JUDGED_S = 0.5  # a pull without a lean event must be judged for so long to count as not lean
SPEED_STEP_RPM = 500.0  # in which two sides' targets are compared
LEAST_ROWS = 20  # rows of a channel under load that its mean needs
# Pulls that differ by more than this are unlike: a share of the larger value, degrees, or lambda.
# Our own choice, no source
UNLIKE = (
    ("target", "lambda", 0.003),
    ("ramp", "rpm/s", 0.25),
    ("load", "", 0.05),
    ("intake", "degC", 15.0),
    ("coolant", "degC", 15.0),
)
SHARES = ("ramp", "load")


@dataclass(frozen=True)
class Side:
    """One drive of a comparison. pulls: numbers of the pulls to use; None for all that are not spoiled."""

    drive: Any
    pulls: Collection[int] | None = None


@dataclass(frozen=True)
class LeanPulls:
    """The number of judged pulls on a side, and how many of them had a lean event. banks: of several, those with one,
    as they are called."""

    lean: int
    judged: int
    banks: tuple[str, ...] = ()


@dataclass(frozen=True)
class Unlike:
    """A difference between the pulls of the two sides.

    kind: "target" (lambda; only where they are configured differently), "ramp" (rpm/s), "load", "intake" or "coolant".
    before, after: its mean under load; of the target at the engine speed where it differs most.
    """

    kind: str
    before: float
    after: float
    unit: str


@dataclass(frozen=True)
class DriveComparison:
    """result: by engine speed and load. lean: LeanPulls of (before, after). unlike: what makes the sides hard to
    compare. labels: lambda channel -> its bank as it is called. contradicted: instruments of either side. twice: the
    number of pulls that stand on both sides. lacking: roles of channels that (before, after) lacks. speed_alone:
    whether bins of load were asked for and could not be had."""

    result: Comparison
    lean: tuple[LeanPulls, LeanPulls]
    unlike: tuple[Unlike, ...] = ()
    labels: Mapping[str, str] = field(default_factory=dict)
    contradicted: tuple[Instrument, ...] = ()
    twice: int = 0
    lacking: tuple[tuple[str, ...], tuple[str, ...]] = ((), ())
    speed_alone: bool = False


def of_mixture(before: Side, after: Side, load_step: float | None = None) -> DriveComparison:
    """Compare lambda over target of two drives. load_step: width of bins of load; None for bins of speed alone."""
    sides = [sets.judged_sessions(one.drive, one.pulls) for one in (before, after)]
    both = [*sides[0], *sides[1]]
    loads = None if load_step is None else sets.shared_loads(both, load_step)
    axes = Axes(sets.shared_speeds(both), loads)
    found = [sets.pull_passes(one, axes) for one in sides]
    labels = {name: roles.bank_label(one.judged.columns.config, name) for one in both for name in one.judged.banks}
    result = compare.compare(found[0], found[1], axes, labels=labels)
    lean = lean_pulls(sides[0]), lean_pulls(sides[1])
    if result.verdict == compare.BETTER and share(lean[1]) > share(lean[0]):
        result = replace(result, verdict=f"{compare.BETTER} and {compare.WORSE}")
    doubted = tuple(one for side in sides for session in side for one in session.judged.doubted)
    twice = sets.on_both_sides(*sides)
    if doubted or twice >= max(1, *(sum(len(one.spans) for one in side) for side in sides)):
        result = in_doubt(result)
    return DriveComparison(
        result,
        lean,
        tuple(unlike(*sides)),
        labels,
        doubted,
        twice,
        (lacking(before), lacking(after)),
        load_step is not None and loads is None,
    )


def lacking(side: Side) -> tuple[str, ...]:
    """The roles of channels that a comparison needs and a drive lacks."""
    return tuple(needs.everywhere([view.columns for view in side.drive.views()], needs.COMPARE))


def in_doubt(result: Comparison) -> Comparison:
    """The comparison without a verdict, its figures kept: an instrument is contradicted, or both sides are one
    recording."""

    def unknown(bins: Iterable[compare.Bin]) -> list[compare.Bin]:
        return [replace(one, changed=False, verdict=compare.NOT_ENOUGH) for one in bins]

    others = tuple(unknown(result.others))
    return replace(result, bins=unknown(result.bins), others=others, verdict=compare.NOT_ENOUGH)


def share(side: LeanPulls) -> float:
    """The share of the judged pulls that were lean."""
    return side.lean / side.judged if side.judged else 0.0


def lean_pulls(sessions: Sequence[SessionPulls]) -> LeanPulls:
    """The number of judged pulls of a side, and how many had a lean event.

    If an instrument is contradicted, no pull counts as judged and not lean.
    """
    every = [(one.judged, judge_span(one.judged, *span[1:])) for one in sessions for span in one.spans]
    lean = sum(bool(numbers.lean_events) for _, numbers in every)
    clean = sum(
        not numbers.lean_events and numbers.judged_s >= LEAST_JUDGED_S and not judged.doubted
        for judged, numbers in every
    )
    several = [(judged, e) for judged, numbers in every if len(judged.banks) > 1 for e in numbers.lean_events]
    return LeanPulls(lean, lean + clean, tuple(sorted({name for one in several for name in lean_banks(*one)})))


def lean_banks(judged: Judged, event: LeanEvent) -> set[str]:
    """The banks that were lean in an event, as they are called."""
    state, label, _ = holes.other_bank(judged, event)
    return {event.bank_label, *([label] if state == holes.LEAN else [])}


def unlike(before: Sequence[SessionPulls], after: Sequence[SessionPulls]) -> list[Unlike]:
    """The differences between the pulls of two sides: rise of engine speed, load and temperatures."""
    out = []
    for kind, unit, least in UNLIKE:
        if kind == "target" and targets(before) == targets(after):
            continue
        if kind == "load" and len({one.judged.columns.load_unit for one in (*before, *after)}) > 1:
            continue  # pressure against throttle
        means = [mean_of(side, kind) for side in (before, after)]
        if kind == "target":
            means = farthest_targets(before, after, means)
        if not np.isfinite(means).all():
            continue
        apart = abs(means[1] - means[0])
        if apart > (least * max(means) if kind in SHARES else least):
            of = unit or next((one.judged.columns.load_unit for one in before), "")
            out.append(Unlike(kind, means[0], means[1], of))
    return out


def farthest_targets(before: Sequence[SessionPulls], after: Sequence[SessionPulls], means: list[float]) -> list[float]:
    """Mean target of (before, after) under load at the step of engine speed where they differ most; `means` without
    a step that both have."""
    first, second = by_speed(before), by_speed(after)
    both = first.keys() & second.keys()
    if not both:
        return means
    at = max(sorted(both), key=lambda step: abs(second[step] - first[step]))
    return [first[at], second[at]]


def by_speed(side: Sequence[SessionPulls]) -> dict[int, float]:
    """Step of engine speed -> mean target under load in a side's pulls, where LEAST_ROWS rows have one."""
    speeds, values = [], []
    for one in side:
        for _, start_s, end_s in one.spans:
            rows = one.judged.columns.rows(start_s, end_s)
            rpm, target = one.judged.columns.rpm[rows], one.judged.target[rows]
            good = one.judged.loaded[rows] & np.isfinite(rpm) & np.isfinite(target)
            speeds.append(rpm[good])
            values.append(target[good])
    if not speeds:
        return {}
    step, value = np.floor(np.concatenate(speeds) / SPEED_STEP_RPM).astype(int), np.concatenate(values)
    return {int(at): float(value[step == at].mean()) for at in np.unique(step) if (step == at).sum() >= LEAST_ROWS}


def targets(side: Sequence[SessionPulls]) -> list[Any]:
    """The different targets that a side is judged by, as configured."""
    out: list[Any] = []
    for one in side:
        config = one.judged.columns.config
        out += [(config.targets, config.preset)] if (config.targets, config.preset) not in out else []
    return out


def mean_of(side: Sequence[SessionPulls], kind: str) -> float:
    """Mean over a side's pulls, equally weighted, of their rise of speed (rpm/s) or of a channel under load.

    NaN if it is not known.
    """
    each = []
    for one in side:
        columns = one.judged.columns
        load = columns.load()
        values = load.values if kind == "load" and load is not None else columns.extra.get(kind)
        values = one.judged.target if kind == "target" else values
        for _, start_s, end_s in one.spans:
            rows = columns.rows(start_s, end_s)
            loaded = one.judged.loaded[rows] & np.isfinite(columns.rpm[rows])
            if np.count_nonzero(loaded) < LEAST_ROWS:
                continue
            if kind == "ramp":
                time_s, rpm = columns.time_s[rows][loaded], columns.rpm[rows][loaded]
                each.append(float(np.polyfit(time_s - time_s[0], rpm, 1)[0]))
            elif values is not None and np.isfinite(values[rows][loaded]).any():
                each.append(float(np.nanmean(values[rows][loaded])))
    return float(np.mean(each)) if each else float("nan")
