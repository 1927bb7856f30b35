"""The lamp's warnings of lean mixture during the drive, compared with the judged pulls."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ringpull.analysis.judge import lean_events
from ringpull.analysis.judge.session import Judged

BEFORE_S = 1.5  # the cause of a warning lies at most so long before it: delay, lag, and the lamp's own wait
JUDGED_SHARE = 0.8  # a span counts as judged if this share of its rows under load was judged
EVENT, JUDGED, UNJUDGED = "event", "judged", "unjudged"


@dataclass(frozen=True)
class Warned:
    """One warning.

    pull: the pull that it belongs to, or None. came_to: EVENT if there is a lean event; JUDGED if the span was judged
    and has none, with its largest mean `excess`; else UNJUDGED.
    """

    session: int
    start_s: float
    end_s: float
    pull: int | None
    came_to: str
    excess: float | None = None


def held_against(judged: Judged, session: int, warning: tuple[float, float], pulls: list) -> Warned:
    """Compare one warning (start_s, end_s) with the pulls of its session.

    pulls: objects with number, start_s, end_s, spoiled and events (also those of a spoiled pull).
    """
    start_s, end_s = warning
    columns = judged.columns
    near = [p for p in pulls if p.start_s < end_s and p.end_s > start_s - BEFORE_S]
    events = [(p, e) for p in near for e in p.events if e.start_s < end_s and e.end_s > start_s - BEFORE_S]
    if events:
        return Warned(session, start_s, end_s, events[0][0].number, EVENT, max(e.depth for _, e in events))
    rows = columns.rows(start_s - BEFORE_S, start_s)
    inside = np.zeros(len(columns), bool)
    for pull in near:
        if not pull.spoiled:
            inside[columns.rows(pull.start_s, pull.end_s)] = True
    loaded = judged.loaded[rows]
    good = judged.shown(rows) & inside[rows]
    excess = [np.where(good, judged.excess(name, rows), np.nan) for name in judged.banks]
    share = min((float(np.isfinite(one[loaded]).mean()) for one in excess if loaded.any()), default=0.0)
    most = [lean_events.largest(one, columns.period_s)[0] for one in excess]
    known = [one for one in most if one is not None]
    came_to = JUDGED if share >= JUDGED_SHARE and known else UNJUDGED
    return Warned(session, start_s, end_s, near[0].number if near else None, came_to, max(known, default=None))
