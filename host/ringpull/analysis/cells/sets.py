"""A drive's sessions and pulls as fuel map, comparison and repeatability take them."""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np

from ringpull.analysis.cells.passes import Axes, Pass, SessionPulls, passes, round_axis
from ringpull.analysis.cells.ratio import ratio

STEP_RPM, MOST_STEPS = 500.0, 24


def judged_sessions(drive, pulls: Collection[int] | None = None) -> list[SessionPulls]:
    """The sessions that have pulls; spoiled pulls are left out, and with `pulls` all but those numbers."""
    every = [(view, pulls_in(drive, view, pulls)) for view in drive.views()]
    return [SessionPulls(view.judged, spans) for view, spans in every if spans]


def every_session(drive) -> list[SessionPulls]:
    """As `judged_sessions`, with the sessions that have no pulls: steady holds tell of the table as well."""
    return [SessionPulls(view.judged, pulls_in(drive, view)) for view in drive.views()]


def pulls_in(drive, view, pulls: Collection[int] | None = None) -> tuple[tuple[int, float, float], ...]:
    """(number, start_s, end_s) of a session's pulls that are not spoiled, and with `pulls` of those numbers alone."""
    return tuple(
        (p.number, p.start_s, p.end_s)
        for p in drive.pulls()
        if p.view is view and not p.spoiled and (pulls is None or p.number in pulls)
    )


def on_both_sides(before: Sequence[SessionPulls], after: Sequence[SessionPulls]) -> int:
    """How many pulls of one side are recordings of the other's too, to the sample: no change can show between them."""

    def samples(side: Sequence[SessionPulls]) -> set[tuple[bytes, bytes]]:
        rows = [(one.judged.columns, one.judged.columns.rows(*span[1:])) for one in side for span in one.spans]
        return {(c.lambda_[at].tobytes(), c.rpm[at].tobytes()) for c, at in rows if at.stop > at.start}

    return len(samples(before) & samples(after))


def pull_passes(sessions: Sequence[SessionPulls], axes: Axes) -> list[Pass]:
    """Passes of measured over target, of pulls alone and under load; of each bank by itself."""
    out: list[Pass] = []
    for number, one in enumerate(sessions):
        for bank in one.judged.each_bank:
            value = np.where(one.judged.loaded, ratio(one.judged, bank), np.nan)
            out += [p for p in passes(one, value, axes, number, bank) if p.unit is not None]
    return out


def shared_speeds(sessions: Sequence[SessionPulls], rpm: Sequence[np.ndarray] | None = None) -> np.ndarray:
    """Breakpoints of speed over what the pulls covered. rpm: of each session, instead of what it logged."""
    rpm = [one.judged.columns.rpm for one in sessions] if rpm is None else rpm
    return round_axis(_under_load(sessions, rpm), STEP_RPM, MOST_STEPS)


def shared_loads(sessions: Sequence[SessionPulls], step: float) -> np.ndarray | None:
    """Breakpoints of load at `step` over what the pulls covered; None where a drive has no load channel, or another
    one than the rest."""
    loads = [one.judged.columns.load() for one in sessions]
    known = [one.values for one in loads if one is not None]
    if len(known) < len(loads) or len({one.unit for one in loads if one is not None}) > 1:
        return None
    return round_axis(_under_load(sessions, known), step, MOST_STEPS)


def _under_load(sessions: Sequence[SessionPulls], columns: Sequence[np.ndarray]) -> np.ndarray:
    """The rows of columns, one of each session, that lie in its pulls and under load."""
    parts = []
    for one, values in zip(sessions, columns, strict=True):
        for _, start_s, end_s in one.spans:
            rows = one.judged.columns.rows(start_s, end_s)
            parts.append(values[rows][one.judged.loaded[rows]])
    return np.concatenate(parts) if parts else np.zeros(0)
