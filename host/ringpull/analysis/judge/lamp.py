"""The lamp's warnings of lean mixture during the drive, compared with the judged pulls."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ringpull.analysis.instruments import trust
from ringpull.analysis.judge import lean_events
from ringpull.analysis.judge.session import Judged

BEFORE_S = 1.5  # the cause of a warning lies at most so long before it: delay, lag, and the lamp's own wait
JUDGED_SHARE = 0.8  # a span counts as judged if this share of its rows under load was judged
KNOWN_SHARE = 0.8  # the engine counts as not under load if this share of the rows is known
EVENT, JUDGED, PART_LOAD, UNJUDGED = "event", "judged", "part load", "unjudged"


@dataclass(frozen=True)
class Warned:
    """One warning.

    pull: the pull that it belongs to, or None. came_to: EVENT if there is a lean event; JUDGED if the span was judged
    and has none, with its largest mean `excess`; PART_LOAD if sound instruments show that the engine was never under
    load in it, with its highest manifold pressure (kPa) and throttle (per cent); else UNJUDGED. rests_on: the
    contradicted channels by which the lamp warned.
    """

    session: int
    start_s: float
    end_s: float
    pull: int | None
    came_to: str
    excess: float | None = None
    most_kpa: float | None = None
    most_pct: float | None = None
    rests_on: tuple[str, ...] = ()


def held_against(judged: Judged, session: int, warning: tuple[float, float], pulls: list) -> Warned:
    """Compare one warning (start_s, end_s) with the pulls of its session.

    pulls: objects with number, start_s, end_s, spoiled and events (also those of a spoiled pull).
    """
    found = _compared(judged, session, warning, pulls)
    return replace(found, rests_on=_rests_on(judged)) if found.came_to in (JUDGED, UNJUDGED) else found


def _rests_on(judged: Judged) -> tuple[str, ...]:
    """The contradicted channels that the lamp compared: lambda, and what its target depends on."""
    columns = judged.columns
    return tuple(one.channel for one in judged.doubted if one.role == "lambda" or trust.target_by(columns, one.channel))


def _compared(judged: Judged, session: int, warning: tuple[float, float], pulls: list) -> Warned:
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
    number = near[0].number if near else None
    if share >= JUDGED_SHARE and known:
        return Warned(session, start_s, end_s, number, JUDGED, max(known))
    around = columns.rows(start_s - BEFORE_S, end_s)
    if not near and _was_part_load(judged, around):
        most = (_most(columns.map_kpa, around), _most(columns.throttle, around))
        return Warned(session, start_s, end_s, None, PART_LOAD, None, *most)
    return Warned(session, start_s, end_s, number, UNJUDGED, max(known, default=None))


def _was_part_load(judged: Judged, rows: slice) -> bool:
    """Whether load was known over these rows, by instruments that nothing contradicts, and never high."""
    rule, columns = judged.load_rule, judged.columns
    if judged.doubted or rule.rising_rpm_s is not None or judged.loaded[rows].any():
        return False
    told = [columns.throttle] if rule.throttle_pct is not None else []
    told += [columns.map_kpa] if rule.full_kpa is not None else []
    there = np.any([np.isfinite(one[rows]) for one in told if one is not None], axis=0)
    return bool(np.size(there)) and float(np.mean(there)) >= KNOWN_SHARE


def _most(values: np.ndarray | None, rows: slice) -> float | None:
    known = np.zeros(0) if values is None else values[rows][np.isfinite(values[rows])]
    return float(known.max()) if len(known) else None
