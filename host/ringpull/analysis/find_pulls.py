"""The pulls of a drive: those marked with the button, and others found by throttle or pressure and rising speed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from ringpull.analysis import local, rest_of_marked_run
from ringpull.analysis.delay.align import injected
from ringpull.analysis.drive_state import under_load
from ringpull.analysis.drive_state.columns import Columns, from_session, from_table
from ringpull.analysis.instruments.trust import Trust, of_session, trust
from ringpull.analysis.judge.lean_events import LeanEvent
from ringpull.analysis.judge.session import Judged, judge_span, prepare
from ringpull.files.configuration import crank_of

if TYPE_CHECKING:
    import pandas as pd

    from ringpull.session import Session

LEAST_S = 1.5  # the shortest pull that is found
LEAST_RPM = 500.0  # least gain of engine speed in it
JOIN_S = 0.4  # wheelspin or a stumble shorter than this does not end a pull
RISES_RPM_S = 25.0  # engine speed rises by this at its start and end; between them it may pause
HELD_RPM_S = 50.0  # engine speed that falls faster is coasting
FALLS_RPM = 100.0  # a loss of speed by this for longer than JOIN_S ends a pull
STEP_S = 0.1
OVERLAP_S = 0.5  # by which a pull reaches into a mark if its lean event does: longer than the shortest that counts


def examined(columns: Columns, session: int) -> Trust:
    """Examine the instruments of a session's recorded columns. session: its id."""
    return of_session(trust(columns), session)


def beginning(session: Session, seconds: float, target: dict | None = None) -> Trust:
    """Examine the instruments of a session by its first `seconds`; only those rows are decoded. target: as in View."""
    if session.duration_s - session.start_s <= seconds:
        return View(session, target).trust
    rows = session.between(session.start_s, session.start_s + seconds)
    return examined(from_table(rows, session.config), session.id)


@dataclass(eq=False, frozen=True)
class View:
    """One session for the analysis, computed once and shared by its pulls.

    target: used instead of the configuration's, in the same form or {"preset": one of usual_targets.NAMES}.
    """

    session: Session
    target: dict | None = None

    @cached_property
    def trust(self) -> Trust:
        """The examined instruments of the session."""
        columns = from_session(self.session)
        if self.target is not None:
            columns = replace(columns, config=columns.config.judged_by(self.target))
        return examined(columns, self.session.id)

    @cached_property
    def columns(self) -> Columns:
        """The columns that are judged: the recorded ones without contradicted readings."""
        return self.trust.columns

    @cached_property
    def marked(self) -> list[tuple[float, float, bool]]:
        """(start_s, end_s, spoiled) of the marked pulls, without void ones (a press that was withdrawn)."""
        return [(m.start_s, self.end_s(m), bool(m.spoiled)) for m in self.session.marks if not m.void]

    def end_s(self, mark) -> float:
        """The end of a mark; of an open mark the end of the session."""
        return self.session.duration_s if mark.end_s is None else mark.end_s

    @cached_property
    def judged(self) -> Judged:
        judged = prepare(self.columns, spoiled=[(start, end) for start, end, spoiled in self.marked if spoiled])
        return replace(judged, trust=self.trust)

    @cached_property
    def turns(self) -> list[tuple[np.ndarray, np.ndarray]]:
        """(times_s, turns of the crank since the first) of the speed channel's pulses, a pair for each stretch."""
        channel = crank_of(self.session.config.channels)
        return [] if channel is None else self.session.awake.turns(channel.name)


@dataclass(eq=False, frozen=True)
class Pull:
    """One pull. number: 1.. over the drive. session: its session's id. start_s, end_s: its span.

    source: "mark" or "found". spoiled: flagged by a double press, so that it is shown but not judged.
    """

    number: int
    session: int
    start_s: float
    end_s: float
    source: str
    spoiled: bool
    view: View

    @property
    def rows(self) -> slice:
        """The pull's rows in the session's frame."""
        times = self.view.session.table()["time_s"]
        low, high = np.searchsorted(times, (self.start_s - 1e-9, self.end_s - 1e-9))
        return slice(int(low), int(high))

    def frame(self, time_index: bool = False) -> pd.DataFrame:
        """The pull's rows of session.frame(), as logged, plus columns of the analysis.

        For every lambda column NAME there is `NAME_aligned` (delay and lag removed: lambda at the time of injection,
        NaN if not known); further `lambda_target`, `loaded` (under load) and `judged` (the rows of `ringpull pulls`'
        mean and range). time_index: as in Session.frame(). attrs["units"]: column -> unit.
        """
        from ringpull.session import indexed

        whole = self.view.session.frame()
        rows = self.rows
        out = whole.iloc[rows].copy()
        columns, judged = self.view.columns, self.view.judged
        times = whole["time_s"].to_numpy()[rows]
        grid = np.clip(np.round(columns.place(times)).astype(int), 0, len(columns) - 1)
        units = dict(whole.attrs.get("units", {}))
        for channel in columns.config.channels:
            if channel.name in columns.banks:
                bank = columns.banks[channel.name]
                told = judged.banks.get(channel.name)
                aligned = judged.aligned if told is None else told.aligned
                name = channel.column + "_aligned"
                out[name] = injected(bank, columns, aligned.model, aligned.arrival_s[grid])
                units[name] = ""
        every = slice(0, len(columns))
        out["lambda_target"] = judged.target[grid]
        out["loaded"] = judged.loaded[grid]
        out["judged"] = (judged.shown(every) & ~judged.masks.by_name["spoiled"])[grid]
        out.attrs["units"] = units | {"lambda_target": "", "loaded": "", "judged": ""}
        return indexed(out) if time_index else out


@dataclass(frozen=True)
class Spans:
    """Unmarked spans, (start_s, end_s) each.

    pulls: load is high and engine speed rises by LEAST_RPM. held: other spans under load, of at least LEAST_S or beside
    a mark or a pull: what the button cut off, or where speed no longer rises.
    """

    pulls: list[tuple[float, float]]
    held: list[tuple[float, float]]


def found_spans(columns: Columns, marked: Sequence[tuple[float, float]] = ()) -> Spans:
    """The pulls in a session's columns, at least LEAST_S long, and other spans under load.

    marked: (start_s, end_s) of what is left out. They start and end where the load comes on and goes off, where engine
    speed starts and stops rising, or where a mark begins and ends. Without throttle and pressure there are only the
    runs that go on beyond a mark.
    """
    out = Spans([], [])
    known = under_load.high(columns)
    if len(columns) < 10 or not np.isfinite(columns.rpm).any():
        return out
    if known is None:
        for span in rest_of_marked_run.rests(columns, marked):
            long = span[1] - span[0] >= LEAST_S and rises(columns.rpm[columns.rows(*span)], columns.period_s)
            (out.pulls if long else out.held).append(span)
        return out
    period_s = columns.period_s
    loaded, rule = known
    loaded = local.close_gaps(loaded, round(0.1 / period_s))
    taken = np.zeros(len(columns) + 2, bool)  # by marks, then by pulls too; a row more at both ends
    for start_s, end_s in marked:
        low, high = np.searchsorted(columns.time_s, (start_s - 1e-9, end_s - 1e-9))
        taken[low + 1 : high + 1] = True
    loaded &= ~taken[1:-1]
    least = LEAST_S / period_s
    slope = under_load.speed_slope(columns)

    def times(first: int, last: int) -> tuple[float, float]:
        return float(columns.time_s[first]), float(columns.time_s[last - 1] + period_s)

    with np.errstate(invalid="ignore"):
        rising = slope > RISES_RPM_S
        # boost pressure outlasts the load
        rest = loaded & ~(slope < -HELD_RPM_S) if rule.no_vacuum and rule.throttle_pct is None else loaded.copy()
    for begin, end in local.spans(loaded):
        for low, high in rises(columns.rpm[begin:end], period_s):
            rows = np.flatnonzero(rising[begin + low : begin + high]) + begin + low
            if not len(rows) or rows[-1] + 1 - rows[0] < least:
                continue
            first, last = int(rows[0]), int(rows[-1]) + 1
            last = begin + high if begin + high - last < least else last
            out.pulls.append(times(first, last))
            rest[first:last] = False
            taken[first + 1 : last + 1] = True
    for begin, end in local.spans(rest):
        if end - begin >= least or taken[begin] or taken[end + 1]:
            out.held.append(times(begin, end))
    return out


def rises(rpm: np.ndarray, period_s: float) -> list[tuple[int, int]]:
    """(first row, row after the last) of stretches over which engine speed gains LEAST_RPM.

    They end where it loses FALLS_RPM for longer than JOIN_S.
    """
    known = np.flatnonzero(np.isfinite(rpm))
    step = max(1, round(STEP_S / period_s))
    at = np.arange(0, len(rpm), step)
    wide = 2 * round(JOIN_S / STEP_S) - 1
    if not len(known) or len(at) < wide:
        return []
    speed = np.interp(at, known, rpm[known])
    speed = np.median(np.lib.stride_tricks.sliding_window_view(np.pad(speed, wide // 2, "edge"), wide), axis=1)
    out, low, high, going_up = [], 0, 0, True
    for k, value in enumerate(speed.tolist()):
        if going_up:
            high = k if value >= speed[high] else high
            if value < speed[low]:
                low = high = k
            if speed[high] - value >= FALLS_RPM:
                out.append((low, high))
                low, going_up = k, False
        else:
            low = k if value <= speed[low] else low
            if value - speed[low] >= FALLS_RPM:
                high, going_up = k, True
    if going_up:
        out.append((low, high))
    return [(int(at[a]), min(len(rpm), int(at[b]) + step)) for a, b in out if speed[b] - speed[a] >= LEAST_RPM]


def shows(view: View, start_s: float, end_s: float) -> list[LeanEvent]:
    """The lean events of a span."""
    return judge_span(view.judged, start_s, end_s).lean_events


def across(view: View, span: tuple[float, float]) -> tuple[float, float]:
    """A found span, which reaches into the mark beside it if a lean event lies across the press that the marked pull
    does not show either."""
    start_s, end_s = span
    near = view.columns.period_s
    before = [(begin, end) for begin, end, _ in view.marked if abs(end - start_s) <= near]
    behind = [(begin, end) for begin, end, _ in view.marked if abs(begin - end_s) <= near]
    if not (before or behind) or shows(view, *span):
        return span
    known = [one for mark in before + behind for one in shows(view, *mark)]
    wide = (start_s - OVERLAP_S * bool(before), end_s + OVERLAP_S * bool(behind))
    for one in shows(view, *wide):
        across_press = one.start_s < start_s or one.end_s > end_s
        if across_press and not any(one.start_s < other.end_s and other.start_s < one.end_s for other in known):
            return wide
    return span


def find(views: list[View]) -> list[Pull]:
    """All pulls of a drive in order of sessions and times: marked ones, and what is found outside the marks.

    views: the drive's sessions. Void marks (a press that was withdrawn) count as none. A span under full load in which
    engine speed hardly rises, or which a mark cut short, is a pull if it shows a lean event: the lamp warns there too.
    """
    out: list[Pull] = []
    for here in views:
        session = here.session
        spans = [(start, end, "mark", spoiled) for start, end, spoiled in here.marked]
        found = found_spans(here.columns, [(start, end) for start, end, _ in here.marked])
        lean = [span for span in (across(here, held) for held in found.held) if shows(here, *span)]
        spans += [(start, end, "found", False) for start, end in [across(here, pull) for pull in found.pulls] + lean]
        for start, end, source, spoiled in sorted(spans):
            out.append(Pull(len(out) + 1, session.id, start, end, source, spoiled, here))
    return out
