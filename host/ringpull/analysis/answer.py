"""The answer to a drive: the judged pulls, the verdict with its reasons, the assumptions and what was left out."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from ringpull.analysis import answer_json, signs
from ringpull.analysis.cells import banks, fuelmap, repeat, sets
from ringpull.analysis.cells.banks import Banks
from ringpull.analysis.cells.passes import Axes, SessionPulls
from ringpull.analysis.cells.repeat import Repeat
from ringpull.analysis.drive_state import roles
from ringpull.analysis.drive_state.columns import Columns
from ringpull.analysis.drive_state.target import of_one_number
from ringpull.analysis.instruments.records import Instrument
from ringpull.analysis.judge import holes as lean_places
from ringpull.analysis.judge import lean_events, masks, needs, verdict
from ringpull.analysis.judge.holes import Hole
from ringpull.analysis.judge.lamp import Warned
from ringpull.analysis.judge.lean_events import LeanEvent
from ringpull.analysis.judge.reasons import Assumed, Assumption, Reason, Why
from ringpull.analysis.judge.session import BeyondTarget, Judged, SpanAnswer, judge_span
from ringpull.analysis.judge.spool import SpoolUp
from ringpull.analysis.judge.stretches import Stretch
from ringpull.wording import assumed, reasons
from ringpull.wording import first as first_words
from ringpull.wording import instruments as instrument_words
from ringpull.wording import masks as mask_words
from ringpull.wording import next_steps as next_words

if TYPE_CHECKING:
    from ringpull.analysis.find_pulls import Pull


LEAST_THERE_S = 0.1
BUILDS_S = 2.5  # boost may build up for so long. Common practice, no source
SAME_TARGET = 0.03  # rows at about the same load have targets that differ by no more
LOAD_STEPS = {"kPa": 50.0, "%": 25.0}  # bins of load in which two banks are compared


@dataclass(frozen=True, eq=False)
class PullAnswer:
    """One pull with its results: `pull` is a pulls.Pull, `numbers` a judge.SpanAnswer, `frame` is made on demand."""

    pull: Pull
    numbers: SpanAnswer
    judged: Judged

    @property
    def number(self) -> int:
        return self.pull.number

    @property
    def spoiled(self) -> bool:
        return self.pull.spoiled

    @property
    def lean_events(self) -> list[LeanEvent]:
        """The lean events of a judged pull; a spoiled pull is not judged and has none."""
        return self.numbers.lean_events

    @property
    def rpm_from(self) -> float:
        return self.numbers.rpm_from

    @property
    def rpm_to(self) -> float:
        return self.numbers.rpm_to

    @property
    def judged_s(self) -> float:
        return self.numbers.judged_s

    @property
    def left_out(self) -> dict[str, float]:
        return self.numbers.left_out

    @property
    def hidden(self) -> tuple[Stretch, ...]:
        return self.numbers.hidden

    @property
    def spool(self) -> SpoolUp | None:
        return self.numbers.spool

    @property
    def spoiled_events(self) -> list[LeanEvent]:
        """The lean events of a spoiled pull, which are reported but not judged."""
        return self.numbers.spoiled_events if self.pull.spoiled else []

    @property
    def excess_at_rpm(self) -> float:
        return self.numbers.excess_at_rpm

    @property
    def loaded_s(self) -> float:
        return self.numbers.loaded_s

    @property
    def lost_s(self) -> float:
        return self.numbers.lost_s

    @property
    def blind(self) -> list[str]:
        return self.numbers.blind

    @property
    def excess_max(self) -> float | None:
        return self.numbers.excess_max

    @property
    def beyond_target(self) -> tuple[BeyondTarget, ...]:
        return self.numbers.beyond_target

    def _judged_at(self, rpm_from: float, rpm_to: float, target: float) -> tuple[slice, np.ndarray]:
        """(the pull's rows, those of them that were judged between two speeds, at about the load of this target (any,
        if it is NaN))."""
        one = self.judged
        rows = one.columns.rows(self.pull.start_s, self.pull.end_s)
        rpm = one.columns.rpm[rows]
        with np.errstate(invalid="ignore"):
            there = one.shown(rows) & (rpm >= rpm_from) & (rpm <= rpm_to)
            return rows, there & ~(np.abs(one.target[rows] - target) > SAME_TARGET)

    def excess_between(self, rpm_from: float, rpm_to: float, target: float) -> float | None:
        """Mean excess of lambda over the judged rows between two speeds, at about the load of this target: those at
        another tell nothing of it. None for less than LEAST_THERE_S."""
        one = self.judged
        rows, there = self._judged_at(rpm_from, rpm_to, target)
        excess = (one.lambda_aligned[rows] - one.target[rows])[there]
        excess = excess[np.isfinite(excess)]
        return float(excess.mean()) if len(excess) * one.columns.period_s >= LEAST_THERE_S else None

    def covers(self, rpm_from: float, rpm_to: float, target: float) -> bool:
        """Whether any row between two speeds was judged, at about the load of this target (any, if it is NaN)."""
        return bool(self._judged_at(rpm_from, rpm_to, target)[1].any())

    @property
    def frame(self):
        """pandas.DataFrame: Pull.frame() with the extra columns `lambda_aligned` (lag and delay removed; of several
        banks the leaner), `lambda_raw` (as measured at that time), `load` and `valid` (judged)."""
        frame = self.pull.frame().reset_index(drop=True)
        rows = self.judged.columns.rows(self.pull.start_s, self.pull.end_s)
        times = frame["time_s"].to_numpy()
        at = np.clip(np.round((times - self.judged.columns.time_s[rows.start]) / self.judged.columns.period_s), 0, None)
        at = np.minimum(rows.start + at.astype(int), len(self.judged.columns) - 1)
        axis = self.judged.columns.load()
        frame["lambda_raw"] = self.judged.columns.lambda_[at]
        frame["lambda_aligned"] = self.judged.lambda_aligned[at]
        frame["load"] = np.nan if axis is None else axis.values[at]
        frame["valid"] = self.judged.masks.valid[at] & self.judged.loaded[at]
        return frame

    def as_json(self) -> dict:
        """The pull as in `pulls --json`."""
        n = self.numbers
        return {
            "number": self.pull.number,
            "session": self.pull.session,
            "start_s": round(self.pull.start_s, 3),
            "end_s": round(self.pull.end_s, 3),
            "source": self.pull.source,
            "spoiled": self.pull.spoiled,
            "rpm_from": answer_json.number(n.rpm_from, 0),
            "rpm_to": answer_json.number(n.rpm_to, 0),
            "lambda_mean": answer_json.number(n.lambda_mean, 4),
            "lambda_max": answer_json.number(n.lambda_max, 4),
            "lambda_min": answer_json.number(n.lambda_min, 4),
            "load_max": answer_json.number(n.load_max, 1),
            "judged_s": answer_json.number(n.judged_s, 3),
            "excess_max": answer_json.number(n.excess_max, 4),
            "left_out": n.left_out,
            "hidden": [answer_json.rounded(asdict(one)) for one in n.hidden],
            "spool_up": None if n.spool is None else answer_json.rounded(asdict(n.spool)),
            "spoiled_events": [answer_json.event_json(e) for e in self.spoiled_events],
            "lean_events": [answer_json.event_json(e) for e in n.lean_events],
            "other_events": [answer_json.other_json(e) for e in n.other_events],
        }


@dataclass(frozen=True, eq=False)
class Answer:
    """The whole answer.

    verdict: "attention", "no lean event found" or "not enough data". alignment, uncertainty: those of the first session
    that could be judged; `sessions` has those of each session by id. warned: the lamp's warnings. left_out: mask ->
    seconds. holes: the lean places, the deepest first, each with its cell of the fuel map.
    """

    verdict: str
    reasons: list[Reason]
    pulls: list[PullAnswer]
    alignment: dict
    left_out: dict[str, float]
    assumptions: list[Assumption]
    uncertainty: dict = field(default_factory=dict)
    warned: list[Warned] = field(default_factory=list)
    sessions: dict[int, dict] = field(default_factory=dict)
    repeat: Repeat | None = None
    banks: list[Banks] = field(default_factory=list)
    instruments: list[Instrument] = field(default_factory=list)
    holes: list[Hole] = field(default_factory=list)

    @property
    def judged(self) -> list[PullAnswer]:
        """The pulls that the verdict is about."""
        return verdict.usable(self.pulls)

    @property
    def sentence(self) -> str:
        """The answer in one sentence."""
        return first_words.sentence(self)

    def as_json(self) -> dict:
        """The answer as plain dicts, lists, numbers and texts."""
        return {
            "verdict": self.verdict,
            "sentence": self.sentence,
            "next_steps": list(next_words.next_steps(self, self.holes)),
            "lean_places": [answer_json.place_json(one) for one in self.holes],
            "reasons": [reasons.reason(r) for r in self.reasons],
            "pulls": [p.as_json() for p in self.pulls],
            "alignment": self.alignment,
            "left_out": self.left_out,
            "assumptions": assumed.lines(self.assumptions),
            "cautions": list(reasons.CAUTIONS),
            "uncertainty": self.uncertainty,
            "rules": dict(mask_words.RULES) if self.pulls or self.alignment else {},
            "lean_warnings": [answer_json.rounded(asdict(one)) for one in self.warned],
            "sessions": {str(key): one for key, one in self.sessions.items()},
            "repeat": None if self.repeat is None else answer_json.repeat_json(self.repeat),
            "banks": [answer_json.banks_json(one) for one in self.banks],
            "instruments": [instrument_words.as_json(one) for one in self.instruments],
        }


def across_pulls(pulls: list[PullAnswer]) -> tuple[Repeat | None, list[Banks]]:
    """(repeatability of the judged pulls, difference of banks for each session with two banks)."""
    of_session: dict[int, SessionPulls] = {}
    for pull in pulls:
        if not pull.spoiled:
            known = of_session.get(id(pull.judged), SessionPulls(pull.judged))
            span = (pull.number, pull.pull.start_s, pull.pull.end_s)
            of_session[id(pull.judged)] = SessionPulls(pull.judged, (*known.spans, span))
    sessions = list(of_session.values())
    if not sessions:
        return None, []
    speeds = Axes(sets.shared_speeds(sessions))
    step = LOAD_STEPS.get(sessions[0].judged.columns.load_unit, LOAD_STEPS["kPa"])
    axes = Axes(speeds.speeds, sets.shared_loads(sessions, step))
    found = [banks.banks(one, axes) for one in sessions]
    return repeat.repeat(sets.pull_passes(sessions, speeds)), [b for b in found if b is not None]


def assumptions(judged: Judged) -> list[Assumption]:
    """The assumptions behind a judged session."""
    columns = judged.columns
    out = [
        Assumption(Assumed.TARGET, {"source": judged.target_source}),
        Assumption(Assumed.LOAD, {"rule": judged.load_rule}),
        Assumption(Assumed.LEAN_EVENT),
        Assumption(Assumed.SPOOL),
    ]
    for name, one in judged.banks.items():
        bank = roles.called(columns.config, name) if len(judged.banks) > 1 else None
        out.append(Assumption(Assumed.DELAY, {"bank": bank, "source": one.aligned.model.source}))
    out += without(columns, needs.LEAN_EVENTS)
    out += [] if needs.missing(columns, needs.DELAY)[0] else without(columns, needs.DELAY)
    if of_one_number(columns):
        out.append(Assumption(Assumed.ONE_TARGET))
    out += [Assumption(Assumed.PART, {"part": p}) for p in judged.budget.parts if p.assumed]
    if len(columns.banks) > 1:
        out.append(Assumption(Assumed.BANKS))
    return out


def without(columns: Columns, answer: str) -> list[Assumption]:
    """The channels that an answer lacks, as assumptions."""
    return [Assumption(Assumed.WITHOUT, {"answer": answer, "role": r}) for r in needs.missing(columns, answer)[1]]


def judge_pulls(pulls: list) -> list[PullAnswer]:
    """Judge each pull with its own session's alignment."""
    out = []
    for pull in pulls:
        judged = pull.view.judged
        numbers = judge_span(judged, pull.start_s, pull.end_s)
        out.append(PullAnswer(pull, numbers, judged))
    return out


def of_sessions(drive, pulls: list[PullAnswer]) -> dict[int, dict]:
    """Session id -> alignment and uncertainty, for the sessions with pulls."""
    with_pulls = {p.pull.session: p.judged for p in pulls}
    return {
        key: {"alignment": answer_json.alignment_json(one), "uncertainty": answer_json.uncertainty_json(one)}
        for key, one in with_pulls.items()
    }


def absent(judged: Judged) -> list[str]:
    """The roles (see `needs`) that a session lacks and without which none of its pulls can be judged."""
    out, _ = needs.missing(judged.columns, needs.LEAN_EVENTS)
    if "lambda" in out and masks.sensors_off(judged.columns)[0].mean() > 0.5:
        out[out.index("lambda")] = needs.LAMBDA_HEATING
    if not np.isfinite(judged.target).any():
        out.append(needs.TARGET_LOAD)
    return out


def at_first(reason: Reason, pulls: list[PullAnswer]) -> bool:
    """Whether a reason is of a mixture that was lean while boost may have been building up."""
    if reason.kind is not Why.LEAN or reason.event is None:
        return reason.kind is Why.SPOOL_LEAN
    begun_s = next((one.pull.start_s for one in pulls if one.number == reason.pull), reason.event.start_s)
    return reason.event.start_s - begun_s <= BUILDS_S


def answer(drive, target: dict | None = None) -> Answer:
    """The answer to a `drive.Drive` with all sessions' pulls. target: used instead of the configuration's."""
    if target is not None:
        drive = drive.judged_by(target)
    judged_pulls = judge_pulls(drive.pulls())
    views = {id(p.judged): p.judged for p in judged_pulls}
    if not views and drive.sessions:
        views = {0: max(drive.views(), key=lambda v: v.session.rows).judged}
    if not views:
        return Answer(verdict.NOT_ENOUGH, [Reason(Why.UNREADABLE)], [], {}, {}, [])
    lacking = {key: absent(one) for key, one in views.items()}
    judged = next((one for key, one in views.items() if not lacking[key]), next(iter(views.values())))
    missing = [] if any(not one for one in lacking.values()) else list(dict.fromkeys(sum(lacking.values(), [])))
    systematic = max(j.budget.systematic for j in views.values())
    call = max(lean_events.call_above(j.random_u) for j in views.values())
    seen = signs.of_drive(drive, judged_pulls, views.values())
    trusts = [j.trust for j in views.values() if j.trust is not None]
    word, why = verdict.decide(judged_pulls, missing, systematic, call, trusts, seen)
    if not missing:
        for key, names in lacking.items():
            if names:
                which = tuple(p.number for p in judged_pulls if id(p.judged) == key)
                why.append(Reason(Why.MISSING_OF, values={"pulls": which, "roles": tuple(names)}))
    if of_one_number(judged.columns) and any(at_first(one, judged_pulls) for one in why):
        why.append(Reason(Why.ONE_TARGET))
    why += signs.told_by_car(drive, word)
    left_out: dict[str, float] = {}
    for pull in judged_pulls:
        for name, seconds in pull.numbers.left_out.items():
            left_out[name] = round(left_out.get(name, 0.0) + seconds, 3)
    repeated, apart = across_pulls(judged_pulls)
    every = [one for j in views.values() for one in assumptions(j)]
    for eventful in {id(p.judged): p.judged for p in judged_pulls if p.lean_events}.values():
        every += without(eventful.columns, needs.MOVED)
    return Answer(
        verdict=word,
        reasons=why,
        pulls=judged_pulls,
        alignment=answer_json.alignment_json(judged),
        left_out=left_out,
        assumptions=every,
        uncertainty=answer_json.uncertainty_json(judged),
        warned=list(seen.warned),
        sessions=of_sessions(drive, judged_pulls),
        repeat=repeated,
        banks=apart,
        instruments=[one for view in drive.views() for one in view.trust.instruments],
        holes=holes_of(drive, judged_pulls),
    )


def holes_of(drive, pulls: list[PullAnswer]) -> list[Hole]:
    """The lean places of the judged pulls, each with its cell of the drive's fuel map."""
    found = lean_places.holes(pulls, verdict.usable(pulls))
    if not found:
        return []
    made = fuelmap.of_drive(drive)
    return [replace(one, cell=made.in_hole(one)) for one in found]
