"""The first second after the throttle opens (spool-up), judged by a rule of its own.

Wall film, enrichment and transport of the gas blur it, so a single pull must be leaner than several that agree.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ringpull.analysis import local

DEPTH = 0.060  # mean excess over WINDOW_S; in good pulls of random drives it is below 0.04 from AFTER_S on
WINDOW_S = 0.20
LEAST_S = 0.15
AFTER_S = 0.15  # plus twice the delay's uncertainty after the throttle opened: until then older gas may arrive
SURE_DEPTH = 0.080  # twice what good pulls of random drives reach: so lean, a single pull is called
LEAST_PULLS = 2
SHARE = 0.5  # share of the pulls with a judged spool-up that must be lean


@dataclass(frozen=True)
class SpoolUp:
    """The spool-up of one pull.

    judged_s: judged seconds. excess: largest mean over WINDOW_S; None if too little was judged. rpm_from, rpm_to: of
    the lean rows, else of the judged rows, else of all. lean: whether it was lean for long enough.
    """

    judged_s: float
    excess: float | None
    rpm_from: float
    rpm_to: float
    lean: bool


def spool_up(excess: np.ndarray, rpm: np.ndarray, opened: np.ndarray, skip_s: float, period_s: float) -> SpoolUp | None:
    """The spool-up of one bank in one pull; None if the throttle did not open in it.

    excess: NaN where a mask other than tip-in applies. opened: the tip-in mask under load. skip_s: time skipped after
    each opening.
    """
    if not opened.any():
        return None
    kept = opened.copy()
    for first, _ in local.spans(opened):
        kept[first : first + round(skip_s / period_s)] = False
    value = np.where(kept, excess, np.nan)
    half = local.half_rows(WINDOW_S, period_s)
    smooth, count = local.mean(value, half)
    known = np.isfinite(value)
    with np.errstate(invalid="ignore"):
        high = known & (smooth > DEPTH) & (count >= half)
    runs = [(a, b) for a, b in local.spans(high) if (b - a) * period_s >= LEAST_S - 1e-9]
    enough = known & (count >= half)
    lean = np.zeros(len(known), bool)
    for first, last in runs:
        lean[first:last] = True
    where = lean if runs else enough if enough.any() else opened
    speeds = rpm[where & np.isfinite(rpm)]
    ends = (float(speeds.min()), float(speeds.max())) if len(speeds) else (float("nan"), float("nan"))
    largest = float(smooth[enough].max()) if enough.any() else None
    return SpoolUp(float(np.count_nonzero(enough) * period_s), largest, *ends, bool(runs))


def leaner(of_banks: Sequence[SpoolUp | None]) -> SpoolUp | None:
    """The spool-up of the leaner of several banks."""
    known = [one for one in of_banks if one is not None]
    return max(known, key=lambda one: (one.lean, one.excess if one.excess is not None else -np.inf), default=None)


def agreed(pulls: Sequence[SpoolUp]) -> bool:
    """Whether enough of the pulls are lean during spool-up, or one by so much that it needs no other."""
    if any(one.lean and one.excess is not None and one.excess >= SURE_DEPTH for one in pulls):
        return True
    lean = sum(1 for one in pulls if one.lean)
    return lean >= LEAST_PULLS and lean >= SHARE * sum(1 for one in pulls if one.excess is not None)
