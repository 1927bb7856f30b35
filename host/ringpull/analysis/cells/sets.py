"""A drive's sessions and pulls as fuel map, comparison and repeatability take them."""

from __future__ import annotations

from collections.abc import Collection
from typing import TYPE_CHECKING

import numpy as np

from ringpull.analysis.cells import fuelmap, passes
from ringpull.analysis.cells.passes import Pass
from ringpull.analysis.judge.session import Judged

if TYPE_CHECKING:
    from ringpull.analysis.pulls import View

Span = tuple[int, float, float]


def judged_sessions(drive, pulls: Collection[int] | None = None) -> tuple[list[Judged], list[list[Span]]]:
    """(judged sessions, each one's pulls as (number, start_s, end_s)); spoiled pulls are left out, and with `pulls` all
    but those numbers."""
    by_view: dict[int, tuple[View, list[Span]]] = {}
    for pull in drive.pulls():
        if pull.spoiled or (pulls is not None and pull.number not in pulls):
            continue
        by_view.setdefault(id(pull.view), (pull.view, []))[1].append((pull.number, pull.start_s, pull.end_s))
    return [view.judged for view, _ in by_view.values()], [spans for _, spans in by_view.values()]


def every_session(drive) -> tuple[list[Judged], list[list[Span]]]:
    """As `judged_sessions`, with the sessions that have no pulls: steady holds tell of the table as well."""
    judged = [view.judged for view in drive.views()]
    spans = [
        [(p.number, p.start_s, p.end_s) for p in drive.pulls() if p.view.judged is one and not p.spoiled]
        for one in judged
    ]
    return judged, spans


def on_both_sides(before: tuple[list[Judged], list[list[Span]]], after: tuple[list[Judged], list[list[Span]]]) -> int:
    """How many pulls of one side are recordings of the other's too, to the sample: no change can show between them."""

    def samples(side) -> list[tuple[bytes, bytes]]:
        rows = [
            (one, one.columns.rows(start_s, end_s))
            for one, pulls in zip(*side, strict=True)
            for _, start_s, end_s in pulls
        ]
        return [
            (one.columns.lambda_[at].tobytes(), one.columns.rpm[at].tobytes()) for one, at in rows if at.stop > at.start
        ]

    return len(set(samples(before)) & set(samples(after)))


def pull_passes(
    judged: list[Judged], spans: list[list[Span]], speeds: np.ndarray, loads: np.ndarray | None = None
) -> list[Pass]:
    """Passes of measured over target, of pulls alone and under load; of each bank by itself."""
    out: list[Pass] = []
    for session, (one, pulls) in enumerate(zip(judged, spans, strict=True)):
        for bank in one.each_bank:
            value = np.where(one.loaded, fuelmap.ratio(one, bank), np.nan)
            out += passes.passes(one, value, speeds, loads, pulls, session, only_spans=True, bank=bank)
    return out


def shared_speeds(
    judged: list[Judged], spans: list[list[Span]], step_rpm: float = 500.0, rpm: list[np.ndarray] | None = None
) -> np.ndarray:
    """Breakpoints of speed at `step_rpm` over what the pulls covered. rpm: of each session, instead of what it logged."""
    rpm = [j.columns.rpm for j in judged] if rpm is None else rpm
    return passes.round_axis(_under_load(judged, spans, rpm), step_rpm, 24)


def shared_loads(judged: list[Judged], spans: list[list[Span]], step: float) -> np.ndarray | None:
    """Breakpoints of load at `step` over what the pulls covered; None where a drive has no load channel, or another
    one than the rest."""
    loads = [j.columns.load() for j in judged]
    known = [one.values for one in loads if one is not None]
    if len(known) < len(loads) or len({j.columns.load_unit for j in judged}) > 1:
        return None
    return passes.round_axis(_under_load(judged, spans, known), step, 24)


def _under_load(judged: list[Judged], spans: list[list[Span]], columns: list[np.ndarray]) -> np.ndarray:
    """The rows of columns, one of each session, that lie in its pulls and under load."""
    parts = []
    for one, pulls, values in zip(judged, spans, columns, strict=True):
        for _, start_s, end_s in pulls:
            rows = one.columns.rows(start_s, end_s)
            parts.append(values[rows][one.loaded[rows]])
    return np.concatenate(parts) if parts else np.zeros(0)
