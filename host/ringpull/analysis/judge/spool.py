"""The first second after the throttle opens, judged by a rule of its own: film, enrichment and the transport of the gas
blur it, so that one pull tells little and several that agree tell much."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ringpull.analysis import local

DEPTH = 0.060  # mean excess over WINDOW_S; good pulls of random drives stay below 0.04 from AFTER_S on
WINDOW_S = 0.20
LEAST_S = 0.15
AFTER_S = 0.15  # after the throttle opened, and twice the delay's uncertainty: the gas of before may still be met
LEAST_PULLS = 2
SHARE = 0.5  # of the pulls in which it could be judged


@dataclass(frozen=True)
class SpoolUp:
    """One pull's. judged_s: of it. excess: the largest mean over WINDOW_S, None where too little was judged. rpm_from,
    rpm_to: of what was judged, or where lean of that; without any of all of it. lean: it lasts long enough."""

    judged_s: float
    excess: float | None
    rpm_from: float
    rpm_to: float
    lean: bool


def spool_up(excess: np.ndarray, rpm: np.ndarray, opened: np.ndarray, skip_s: float, period_s: float) -> SpoolUp | None:
    """One bank of one pull; None where the throttle did not open in it. excess: NaN where something else than opening
    hides it. opened: the tip-in mask under load. skip_s: after each opening."""
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
    """Of several banks the leaner."""
    known = [one for one in of_banks if one is not None]
    return max(known, key=lambda one: (one.lean, one.excess if one.excess is not None else -np.inf), default=None)


def agreed(pulls: Sequence[SpoolUp]) -> bool:
    """Whether enough of the pulls are lean at spool-up."""
    lean = sum(1 for one in pulls if one.lean)
    return lean >= LEAST_PULLS and lean >= SHARE * sum(1 for one in pulls if one.excess is not None)
