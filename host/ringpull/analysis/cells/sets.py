"""A drive's sessions and pulls, as input of fuel map, comparison and repeatability."""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np

from ringpull.analysis.cells.passes import Axes, Pass, SessionPulls, passes, round_axis
from ringpull.analysis.cells.ratio import ratio

STEP_RPM, MOST_STEPS = 500.0, 24


def judged_sessions(drive, pulls: Collection[int] | None = None) -> list[SessionPulls]:
    """The sessions with pulls. Spoiled pulls are left out; with `pulls`, all but these numbers."""
    every = [(view, pulls_in(drive, view, pulls)) for view in drive.views()]
    return [SessionPulls(view.judged, spans) for view, spans in every if spans]


def every_session(drive) -> list[SessionPulls]:
    """As `judged_sessions`, plus the sessions without pulls, since steady holds show the table as well."""
    return [SessionPulls(view.judged, pulls_in(drive, view)) for view in drive.views()]


def pulls_in(drive, view, pulls: Collection[int] | None = None) -> tuple[tuple[int, float, float], ...]:
    """(number, start_s, end_s) of a session's pulls that are not spoiled; with `pulls`, only of these numbers."""
    return tuple(
        (p.number, p.start_s, p.end_s)
        for p in drive.pulls()
        if p.view is view and not p.spoiled and (pulls is None or p.number in pulls)
    )


def on_both_sides(before: Sequence[SessionPulls], after: Sequence[SessionPulls]) -> int:
    """The number of pulls that both sides share, sample by sample, in which no change can show."""

    def samples(side: Sequence[SessionPulls]) -> set[tuple[bytes, bytes]]:
        rows = [(one.judged.columns, one.judged.columns.rows(*span[1:])) for one in side for span in one.spans]
        return {(c.lambda_[at].tobytes(), c.rpm[at].tobytes()) for c, at in rows if at.stop > at.start}

    return len(samples(before) & samples(after))


def pull_passes(sessions: Sequence[SessionPulls], axes: Axes) -> list[Pass]:
    """Passes of lambda over target under load in pulls, for each bank separately."""
    out: list[Pass] = []
    for number, one in enumerate(sessions):
        for bank in one.judged.each_bank:
            value = np.where(one.judged.loaded, ratio(one.judged, bank), np.nan)
            out += [p for p in passes(one, value, axes, number, bank) if p.unit is not None]
    return out


def shared_speeds(sessions: Sequence[SessionPulls], rpm: Sequence[np.ndarray] | None = None) -> np.ndarray:
    """Breakpoints of engine speed over the range of the pulls. rpm: of each session, instead of the logged speed."""
    rpm = [one.judged.columns.rpm for one in sessions] if rpm is None else rpm
    return round_axis(_under_load(sessions, rpm), STEP_RPM, MOST_STEPS)


def shared_loads(sessions: Sequence[SessionPulls], step: float) -> np.ndarray | None:
    """Breakpoints of load at `step` over the range of the pulls; None unless all drives have the same load channel."""
    loads = [one.judged.columns.load() for one in sessions]
    known = [one.values for one in loads if one is not None]
    if len(known) < len(loads) or len({one.unit for one in loads if one is not None}) > 1:
        return None
    return round_axis(_under_load(sessions, known), step, MOST_STEPS)


def _under_load(sessions: Sequence[SessionPulls], columns: Sequence[np.ndarray]) -> np.ndarray:
    """The values under load in the pulls of all sessions. columns: one of each session."""
    parts = []
    for one, values in zip(sessions, columns, strict=True):
        for _, start_s, end_s in one.spans:
            rows = one.judged.columns.rows(start_s, end_s)
            parts.append(values[rows][one.judged.loaded[rows]])
    return np.concatenate(parts) if parts else np.zeros(0)
