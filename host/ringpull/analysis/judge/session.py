"""Judges one session: alignment, masks, target, load, and the lean events of each span. Columns in, numbers out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from ringpull.analysis import local
from ringpull.analysis.delay import identify, remembered, transport
from ringpull.analysis.delay.align import Aligned, align
from ringpull.analysis.drive_state import roles, target, target_ends, under_load
from ringpull.analysis.drive_state.columns import Columns, leaner
from ringpull.analysis.instruments.records import Instrument
from ringpull.analysis.instruments.trust import Trust
from ringpull.analysis.judge import (
    hints,
    lean_events,
    limiter,
    masks,
    other_events,
    sensor,
    spool,
    stretches,
    uncertainty,
)
from ringpull.analysis.judge.masks import Masks


@dataclass(frozen=True)
class Bank:
    """One lambda sensor of a session, with its own delay and lag.

    random_u: standard uncertainty of a mean over lean_events.WINDOW_S. output: its usable and unusable rows, at the
    sensor's time. identified: the identification of delay and lag; None if they were given.
    """

    aligned: Aligned
    random_u: float
    output: sensor.Output
    identified: identify.Identified | None = None

    def at_injection(self, flags: np.ndarray) -> np.ndarray:
        """Flags at the sensor's time, moved to the time of injection of the gas."""
        return flags[self.aligned.sensor_row]

    @property
    def assumed(self) -> bool:
        """Whether the delay could not be identified from the drive."""
        return self.identified is not None and not (self.identified.done and self.identified.estimate is None)


@dataclass(frozen=True)
class Judged:
    """A session prepared for judging: arrays of shape (rows,) at the time of injection.

    lambda_aligned: delay and lag removed. target: target lambda. valid: no mask takes out the row. loaded: under load,
    by `load_rule`. banks: one for each lambda sensor. aligned, random_u, identified: those of the only bank, or of the
    bank whose delay is assumed or whose lag is longer, with the leaner lambda of all. trust: the session's instruments,
    if examined. limited: (start_s, end_s) at the rev limiter. target_ends: where the drive leaves the target's table.
    """

    columns: Columns
    aligned: Aligned
    masks: Masks
    target: np.ndarray
    target_source: target.Source
    loaded: np.ndarray
    load_rule: under_load.Rule
    budget: uncertainty.Budget
    random_u: float
    identified: identify.Identified | None = None
    banks: dict[str, Bank] = field(default_factory=dict)
    trust: Trust | None = None
    limited: tuple[limiter.Span, ...] = ()
    target_ends: tuple[target_ends.Beyond, ...] = ()

    @property
    def doubted(self) -> tuple[Instrument, ...]:
        """The contradicted instruments that a verdict on this session relies on."""
        return () if self.trust is None else self.trust.doubted

    def shown(self, rows: slice, without: tuple[str, ...] = ()) -> np.ndarray:
        """The rows that show lambda under load: no mask except `spoiled` takes them out.

        The lean end of the sensor's range counts, since it means "at least this lean". without: masks to ignore.
        """
        masks_of = self.masks.by_name
        free = ("saturation", "spoiled", *without)
        flagged = [flags[rows] for name, flags in masks_of.items() if name not in free]
        kept = ~np.any(np.stack(flagged), axis=0)
        return self.loaded[rows] & kept & (~masks_of["saturation"][rows] | self.masks.lean_rail[rows])

    @property
    def lambda_aligned(self) -> np.ndarray:
        """Lambda to show: of several banks the leaner in each row. By chance the larger of two readings is too lean, so
        events and means use `each_bank`."""
        return self.aligned.lambda_

    def excess(self, bank: str, rows: slice) -> np.ndarray:
        """Lambda of one bank minus target; NaN if its sensor gives no lambda or is at its rich end."""
        one = self.banks[bank]
        rich = one.at_injection(one.output.rich)[rows]
        return np.where(rich, np.nan, one.aligned.lambda_[rows] - self.target[rows])

    @property
    def each_bank(self) -> dict[str, np.ndarray]:
        """Bank -> its lambda at the time of injection, used for events and means. A single bank's is
        `lambda_aligned`."""
        return {name: bank.aligned.lambda_ for name, bank in self.banks.items()}


@dataclass(frozen=True)
class BeyondTarget:
    """The judged part of a pull beyond one end of the target's table. last: the table's last point. most: the greatest
    reading there. unit: of both."""

    last: float
    most: float
    unit: str
    seconds: float


@dataclass(frozen=True)
class SpanAnswer:
    """The results of one pull.

    rpm_from, rpm_to, load_max: of the judged rows; without any, of the rows under load. lambda_*: over the rows under
    load that no mask takes out (of a spoiled pull too), NaN without any. judged_s, excess_max: of the judged rows;
    excess_at_rpm is the speed of the latter. spoiled_events: lean events of a spoiled pull. left_out: mask -> seconds.
    loaded_s: seconds under load. lost_s: seconds without rows. hidden: stretches under load that could not be judged.
    spool: the time after the throttle opened. blind: of several banks those that gave no reading over more than half of
    the judged rows. beyond_target: the judged rows beyond the target's table.
    """

    rpm_from: float
    rpm_to: float
    lambda_mean: float
    lambda_max: float
    lambda_min: float
    load_max: float | None
    judged_s: float
    excess_max: float | None
    excess_at_rpm: float = float("nan")
    lean_events: list[lean_events.LeanEvent] = field(default_factory=list)
    spoiled_events: list[lean_events.LeanEvent] = field(default_factory=list)
    other_events: list[other_events.OtherEvent] = field(default_factory=list)
    left_out: dict[str, float] = field(default_factory=dict)
    blind: list[str] = field(default_factory=list)
    loaded_s: float = 0.0
    lost_s: float = 0.0
    hidden: tuple[stretches.Stretch, ...] = ()
    spool: spool.SpoolUp | None = None
    beyond_target: tuple[BeyondTarget, ...] = ()


def prepare(
    columns: Columns,
    model: transport.Transport | None = None,
    spoiled: Sequence[tuple[float, float]] = (),
    identified: bool = True,
) -> Judged:
    """Prepare a whole session: alignment, masks, target and load.

    model: delay and lag; without it they are identified from events of the session, or with `identified` False taken
    from the configuration and stated defaults. spoiled: (start_s, end_s) of the spoiled pulls.
    """
    banks = {name: one_bank(part, model, identified) for name, part in parts(columns).items()}
    chief = max(banks.values(), key=lambda bank: (bank.assumed, bank.aligned.model.tau_s))
    aligned = chief.aligned
    if len(banks) > 1:
        aligned = replace(
            aligned,
            lambda_=leaner([bank.aligned.lambda_ for bank in banks.values()]),
            delayed_only=leaner([bank.aligned.delayed_only for bank in banks.values()]),
        )
    flagged = np.zeros(len(columns), bool)
    for start_s, end_s in spoiled:
        flagged[columns.rows(start_s, end_s)] = True
    wanted, source = target.targets(columns)
    loaded, rule = under_load.under_load(columns)
    gone = None
    if chief.assumed:
        met_s = aligned.arrival_s + aligned.model.tau_s
        gone = loaded & ~under_load.still_loaded(loaded, columns, met_s)
    electrical = [one.at_injection(one.output.electrical) for one in banks.values()]
    unusable = [one.at_injection(one.output.unusable) for one in banks.values()]
    spikes = np.logical_and.reduce(unusable) & np.logical_or.reduce(electrical)
    limited = tuple(limiter.stretches(columns, loaded))
    known = masks.Known(flagged, ~np.isfinite(wanted), gone, spikes, limiter.falls_of(columns, limited), loaded)
    named = masks.masks(columns, aligned, known)
    wanted_there = wanted[loaded & np.isfinite(wanted)]
    near = float(np.median(wanted_there)) if len(wanted_there) else uncertainty.USUAL_LAMBDA
    budget = uncertainty.budget(columns, near)
    return Judged(
        columns,
        aligned,
        named,
        wanted,
        source,
        loaded,
        rule,
        budget,
        max(one.random_u for one in banks.values()),
        chief.identified,
        banks,
        limited=limited,
        target_ends=target_ends.beyond(columns),
    )


def parts(columns: Columns) -> dict[str, Columns]:
    """A session's columns by bank: each lambda sensor that has readings, with the common channels."""
    names = [name for name, one in columns.banks.items() if np.isfinite(one).any()]
    return {name: columns.of_bank(name) for name in names} if len(names) > 1 else {(names or [""])[0]: columns}


def one_bank(columns: Columns, model: transport.Transport | None, identified: bool) -> Bank:
    """One lambda sensor with its delay and lag removed. model, identified: as in `prepare`."""
    output = sensor.output(columns)
    usable = np.where(output.unusable, np.nan, columns.lambda_)
    columns = replace(columns, lambda_=usable, banks=dict.fromkeys(columns.banks, usable))
    found = remembered.identified(columns) if model is None and identified else None
    aligned = align(columns, model if found is None else found.model)
    undone_s = aligned.model.tau_s if aligned.model.lag_known else 0.0
    white = uncertainty.white_noise(columns.lambda_)
    random_u = uncertainty.mean_u(white, aligned.noise_gain, lean_events.WINDOW_S, columns.period_s, undone_s)
    return Bank(aligned, random_u, output, found)


def delay_u_s(aligned: Aligned, rows: slice) -> np.ndarray:
    """Standard uncertainty of the transport delay, (rows,)."""
    return aligned.model.delay_u_s(aligned.flow.litres_per_s[rows])


def judge_span(judged: Judged, start_s: float, end_s: float) -> SpanAnswer:
    """Judge one pull of a prepared session."""
    columns = judged.columns
    rows = columns.rows(start_s, end_s)
    period_s = columns.period_s
    rpm = columns.rpm[rows]
    loaded = judged.loaded[rows]
    flagged = judged.masks.by_name["spoiled"][rows]
    shown = judged.shown(rows)
    good = shown & ~flagged
    value = np.where(shown, judged.lambda_aligned[rows], np.nan)
    above = {name: np.where(shown, judged.excess(name, rows), np.nan) for name in judged.banks}
    banks = {name: np.where(flagged, np.nan, one) for name, one in above.items()}
    any_judged = np.logical_or.reduce([np.isfinite(one) for one in banks.values()])
    excess = np.where(any_judged, value - judged.target[rows], np.nan)
    found = events_of(judged, rows, banks, (start_s, end_s))
    others = other_events.rich(columns.time_s[rows], excess) + other_events.oscillation(columns.time_s[rows], excess)
    if columns.map_kpa is not None:
        others += other_events.boost(columns.time_s[rows], columns.map_kpa[rows], loaded)
    largest, largest_at = max(
        (lean_events.largest(one, period_s) for one in banks.values()),
        key=lambda one: -np.inf if one[0] is None else one[0],
    )
    means = [
        np.nanmean(bank[rows][shown]) for bank in judged.each_bank.values() if np.isfinite(bank[rows][shown]).any()
    ]
    short = local.mean(value, local.half_rows(lean_events.EDGE_WINDOW_S, period_s))[0]
    short = short[np.isfinite(value)]
    nan = float("nan")
    told = any_judged if any_judged.any() else loaded if loaded.any() else np.ones(len(rpm), bool)
    speeds = rpm[told & np.isfinite(rpm)]
    axis = columns.load()
    here = np.zeros(0) if axis is None else axis.values[rows][told]
    loads = here[np.isfinite(here)]
    left_out = judged.masks.seconds(rows, period_s)
    unmade_s = columns.left_out_s(rows)
    if unmade_s:
        left_out["not_recorded"] = round(left_out.get("not_recorded", 0.0) + unmade_s, 3)
    return SpanAnswer(
        rpm_from=float(speeds.min()) if len(speeds) else nan,
        rpm_to=float(speeds.max()) if len(speeds) else nan,
        lambda_mean=float(max(means, default=nan)),
        lambda_max=float(short.max()) if len(short) else nan,
        lambda_min=float(short.min()) if len(short) else nan,
        load_max=float(loads.max()) if len(loads) else None,
        judged_s=float(np.count_nonzero(any_judged) * period_s),
        excess_max=largest,
        excess_at_rpm=nan if largest is None else float(rpm[largest_at]),
        lean_events=found,
        spoiled_events=events_of(judged, rows, above, (start_s, end_s)) if flagged.any() else [],
        other_events=others,
        left_out=left_out,
        hidden=hidden(judged, rows, above),
        spool=spool_up(judged, rows),
        beyond_target=beyond_target(judged, rows, any_judged),
        loaded_s=float(np.count_nonzero(loaded) * period_s),
        lost_s=float(np.count_nonzero(columns.extra["present"][rows] < 0.5) * period_s) + unmade_s
        if "present" in columns.extra
        else 0.0,
        blind=[name for name in columns.banks if good.any() and share_told(banks.get(name), good) < 0.5]
        if len(columns.banks) > 1
        else [],
    )


def beyond_target(judged: Judged, rows: slice, there: np.ndarray) -> tuple[BeyondTarget, ...]:
    """The judged rows, flagged by `there`, beyond the ends of the target's table."""
    out = []
    for end in judged.target_ends:
        values = end.values[rows][there & np.isfinite(end.values[rows])]
        if len(values):
            out.append(BeyondTarget(end.last, float(values.max()), end.unit, len(values) * judged.columns.period_s))
    return tuple(out)


def share_told(above: np.ndarray | None, good: np.ndarray) -> float:
    """The share of the judgeable rows in which one bank gave a reading."""
    return 0.0 if above is None else float(np.isfinite(above[good]).mean())


def events_of(judged: Judged, rows: slice, banks: dict[str, np.ndarray], pull: tuple[float, float]):
    """The lean events of a pull with their hints. banks: excess of each bank."""
    columns = judged.columns
    axis = columns.load()
    here = None if axis is None else axis.values[rows]
    time_s, rpm = columns.time_s[rows], columns.rpm[rows]
    of_banks = {}
    for name, above in banks.items():
        bank = judged.banks[name]
        bound = judged.masks.lean_rail[rows] & np.isfinite(above)
        doubt = lean_events.Doubt(bank.random_u, judged.budget.systematic, delay_u_s(bank.aligned, rows))
        of_banks[name] = lean_events.events(lean_events.Rows(time_s, above, rpm, here, bound, columns.load_unit), doubt)
    wanted = judged.target[rows]
    return [
        replace(
            event,
            hints=tuple(hints.hints(columns, event.start_s, event.end_s, pull, judged.loaded, judged.limited)),
            target=float(wanted[np.searchsorted(time_s, event.deepest_s)]),
            bank_label=roles.bank_label(columns.config, event.bank),
        )
        for event in lean_events.joined_at_limiter(lean_events.leaner(of_banks), judged.limited)
    ]


def hidden(judged: Judged, rows: slice, above: dict[str, np.ndarray]) -> tuple[stretches.Stretch, ...]:
    """The stretches of a pull under load that could not be judged. above: excess of each bank."""
    columns = judged.columns
    common = {name: flags[rows] for name, flags in judged.masks.by_name.items()}
    common["saturation"] = common["saturation"] & ~judged.masks.lean_rail[rows]
    loaded, period_s = judged.loaded[rows], columns.period_s
    span = stretches.Span(columns.time_s[rows], columns.rpm[rows], loaded, common, period_s)
    out: list[stretches.Stretch] = []
    for name, excess in above.items():
        bank = judged.banks[name]
        own = {
            "controller_state": bank.at_injection(bank.output.state)[rows],
            "electrical": bank.at_injection(bank.output.electrical)[rows],
            "saturation": bank.at_injection(bank.output.rich)[rows],
        }
        if len(judged.banks) == 1:
            own, name = {}, None
        label = "" if name is None else roles.called(columns.config, name)
        every = [
            replace(one, label=label if one.bank else "", target=wanted(judged, one))
            for one in stretches.hidden(span, excess, own, name)
        ]
        out += [one for one in every if one not in out]
    return tuple(sorted(out, key=lambda one: one.start_s))


def wanted(judged: Judged, one: stretches.Stretch) -> float:
    """The mean target of a stretch; NaN where it is not known."""
    target = judged.target[judged.columns.rows(one.start_s, one.end_s)]
    known = target[np.isfinite(target)]
    return float(known.mean()) if len(known) else float("nan")


def spool_up(judged: Judged, rows: slice) -> spool.SpoolUp | None:
    """The spool-up of the leaner bank after the throttle opened."""
    columns = judged.columns
    opened = judged.masks.by_name["tip_in"][rows] & judged.loaded[rows]
    kept = judged.shown(rows, without=("tip_in",))
    found = []
    for name, bank in judged.banks.items():
        doubt = delay_u_s(bank.aligned, rows)
        skip_s = spool.AFTER_S + 2.0 * (float(np.nanmedian(doubt[opened])) if opened.any() else 0.0)
        excess = np.where(kept, judged.excess(name, rows), np.nan)
        found.append(spool.spool_up(excess, columns.rpm[rows], opened, skip_s, columns.period_s))
    return spool.leaner(found)
