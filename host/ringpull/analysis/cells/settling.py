"""The rows of a pull that a fuel map leaves out, and the cells that hold a lean event."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ringpull.analysis import local
from ringpull.analysis.cells.passes import Axes, SessionPulls, nearest
from ringpull.analysis.judge.session import Judged, judge_span

# After the tip-in mask the wall film still settles and boost still builds up, so lambda does not show the table. Our
# own choice, from drives with a known film.
SETTLING_S = 0.4
LEAST_S = 0.1  # a place under load for so long is reported as not mapped


def settling(judged: Judged) -> np.ndarray:
    """Rows under load, (rows,) bool, during a tip-in or so soon after it that they do not show the table."""
    opening = judged.masks.by_name["tip_in"]
    return local.spread_after(opening, round(SETTLING_S / judged.columns.period_s)) & judged.loaded


def places_of(judged: Judged, rows: np.ndarray, axes: Axes) -> dict[tuple[int, int], float]:
    """Cell as (load, speed) index -> seconds of the given rows in it. rows: (rows,) bool."""
    speed = nearest(axes.speeds, judged.columns.rpm)
    load = judged.columns.load()
    flat = np.zeros(len(judged.columns), int)
    row = flat if axes.loads is None or load is None else nearest(axes.loads, load.values)
    here = rows & (speed >= 0) & (row >= 0)
    places, counts = np.unique(np.stack([row[here], speed[here]]), axis=1, return_counts=True)
    period_s = judged.columns.period_s
    return {(int(a), int(b)): int(n) * period_s for (a, b), n in zip(places.T, counts, strict=True)}


def unsettled_places(sessions: Sequence[SessionPulls], axes: Axes) -> dict[tuple[int, int], float]:
    """Cell -> seconds under load in it while the engine settles after the throttle opened."""
    out: dict[tuple[int, int], float] = {}
    for one in sessions:
        for key, seconds in places_of(one.judged, settling(one.judged), axes).items():
            out[key] = out.get(key, 0.0) + seconds
    return {key: seconds for key, seconds in out.items() if seconds >= LEAST_S}


def lean_places(sessions: Sequence[SessionPulls], axes: Axes) -> set[tuple[int, int]]:
    """The cells that a lean event of a pull passes through."""
    out: set[tuple[int, int]] = set()
    for one in sessions:
        columns = one.judged.columns
        rows = np.zeros(len(columns), bool)
        for _, start_s, end_s in one.spans:
            for event in judge_span(one.judged, start_s, end_s).lean_events:
                rows[columns.rows(event.start_s, event.end_s)] = True
        out |= set(places_of(one.judged, rows & one.judged.loaded, axes))
    return out
