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


@dataclass(frozen=True)
class Stretch:
    """mask: the mask that hides most of it. bank: of several the hidden one; None for all. label:
    its name to show."""

    mask: str
    bank: str | None
    start_s: float
    end_s: float
    rpm_from: float
    rpm_to: float
    label: str = ""

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
    for name in ELSEWHERE:
        if name != "spoiled" and name in span.common:
            where &= ~span.common[name]
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
        speeds = span.rpm[first:last][np.isfinite(span.rpm[first:last])]
        if not len(speeds):  # no engine speed there: use that of the neighbouring rows
            beside = span.rpm[max(0, first - 1) : last + 1]
            speeds = beside[np.isfinite(beside)]
        ends = (float(speeds.min()), float(speeds.max())) if len(speeds) else (float("nan"), float("nan"))
        start_s, end_s = float(span.time_s[first]), float(span.time_s[last - 1] + span.period_s)
        out.append(Stretch(alone if mine else mask, bank if mine else None, start_s, end_s, *ends))
    return out
