"""Hidden stretches: parts under load that could not be judged, so that a lean event there would not show."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ringpull.analysis import local

LEAST_S = 0.15
JOIN_S = 0.10  # hidden stretches are joined if the judged rows between them are too few for an event
# These masks occur in every pull: tip-in is judged by a rule of its own, the other is not under load
ELSEWHERE = ("tip_in", "overrun_cut", "spoiled")
NOT_RECORDED = "not_recorded"
UNSEEN_S = 1.0  # full load may begin and end unseen in a gap of this length, whatever was seen on its sides


@dataclass(frozen=True)
class Stretch:
    """mask: the mask that hides most of it. bank: of several the hidden one; None for all. label: its name to show.
    target: mean of lambda's target there. rpm_from, rpm_to: of a gap the speeds on its sides; NaN on a side where the
    pull has none."""

    mask: str
    bank: str | None
    start_s: float
    end_s: float
    rpm_from: float
    rpm_to: float
    label: str = ""
    target: float = float("nan")

    @property
    def seconds(self) -> float:
        return self.end_s - self.start_s


@dataclass(frozen=True)
class Span:
    """A pull's rows. common: mask -> rows that it takes from all banks. loaded: under load."""

    time_s: np.ndarray
    rpm: np.ndarray
    loaded: np.ndarray
    common: Mapping[str, np.ndarray]
    period_s: float


def hidden(span: Span, excess: np.ndarray, own: Mapping[str, np.ndarray], bank: str | None) -> list[Stretch]:
    """The hidden stretches of one bank.

    excess: NaN where not judged. own: mask -> rows that it takes from this bank alone. bank: its name; None if there is
    only one.
    """
    known = np.isfinite(excess)
    where = span.loaded.copy()
    judged = np.flatnonzero(known)
    if len(judged):
        where[judged[0] : judged[-1]] = True
    # Behind a lift in mid-pull nothing is judged by another rule
    lifted = span.loaded & span.common["lift"] if "lift" in span.common else np.zeros(len(where), bool)
    for name in ELSEWHERE:
        if name != "spoiled" and name in span.common:
            where &= ~(span.common[name] & ~lifted)
    if NOT_RECORDED in span.common:
        where |= gaps(span)
    gone = local.close_gaps(where & ~known, round(JOIN_S / span.period_s))
    out = []
    for first, last in local.spans(gone):
        if (last - first) * span.period_s < LEAST_S - 1e-9:
            continue
        counts = {name: int(np.count_nonzero(flags[first:last])) for name, flags in span.common.items()}
        counts = {name: count for name, count in counts.items() if count and name not in ELSEWHERE}
        of_bank = {name: int(np.count_nonzero(flags[first:last])) for name, flags in own.items()}
        mask = max(counts, key=counts.__getitem__, default="")
        alone = max(of_bank, key=of_bank.__getitem__, default="")
        mine = bool(alone) and of_bank[alone] > counts.get(mask, 0)
        if not (mine or mask):
            continue
        ends = across(span.rpm, first, last) if mask == NOT_RECORDED and not mine else within(span.rpm, first, last)
        start_s, end_s = float(span.time_s[first]), float(span.time_s[last - 1] + span.period_s)
        out.append(Stretch(alone if mine else mask, bank if mine else None, start_s, end_s, *ends))
    return out


def gaps(span: Span) -> np.ndarray:
    """The rows without a recording in which the engine may have been under load, (rows,) bool: it was on either side,
    or the gap lasts UNSEEN_S."""
    gone = span.common[NOT_RECORDED]
    out = np.zeros(len(gone), bool)
    for first, last in local.spans(gone):
        long_s = span.time_s[last - 1] - span.time_s[first] + span.period_s
        if long_s >= UNSEEN_S or span.loaded[max(0, first - 1) : last + 1].any():
            out[first:last] = True
    return out


def within(rpm: np.ndarray, first: int, last: int) -> tuple[float, float]:
    """Least and most engine speed in some rows, else in their neighbours; NaN where none is known."""
    speeds = rpm[first:last][np.isfinite(rpm[first:last])]
    if not len(speeds):
        beside = rpm[max(0, first - 1) : last + 1]
        speeds = beside[np.isfinite(beside)]
    return (float(speeds.min()), float(speeds.max())) if len(speeds) else (float("nan"), float("nan"))


def across(rpm: np.ndarray, first: int, last: int) -> tuple[float, float]:
    """Least and most engine speed from before a gap to behind it; NaN for a side on which the pull has none."""
    known = np.isfinite(rpm)
    before, after = np.flatnonzero(known[:first]), np.flatnonzero(known[last:])
    inside = rpm[first:last][known[first:last]]
    sides = [*([rpm[before[-1]]] if len(before) else []), *inside, *([rpm[last + after[0]]] if len(after) else [])]
    nan = float("nan")
    if not sides:
        return nan, nan
    return float(min(sides)) if len(before) else nan, float(max(sides)) if len(after) else nan
