"""One session judged: alignment, masks, target, load, and the lean events of each span. Columns in, numbers out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from ringpull.analysis import local
from ringpull.analysis.delay import identify, transport
from ringpull.analysis.delay.align import Aligned, align
from ringpull.analysis.drive_state import target, under_load
from ringpull.analysis.drive_state.columns import Columns, leaner
from ringpull.analysis.judge import hints, lean_events, masks, other_events, uncertainty
from ringpull.analysis.judge.masks import Masks


@dataclass(frozen=True)
class Bank:
    """One lambda sensor of a session, with its own delay and lag. random_u: standard uncertainty of a mean over
    lean_events.WINDOW_S. identified: how delay and lag were found, None where they were given."""

    aligned: Aligned
    random_u: float
    identified: identify.Identified | None = None

    @property
    def assumed(self) -> bool:
        """Whether the drive was asked for the delay and did not tell it."""
        return self.identified is not None and not (self.identified.done and self.identified.bound is None)


@dataclass(frozen=True)
class Judged:
    """A session made ready: arrays of shape (rows,) at the time of injection.

    lambda_aligned: delay and lag undone. target: lambda that should have been. valid: no mask takes the row out.
    loaded: under load, by `load_rule`. banks: of each lambda sensor. aligned, random_u, identified: of the only one, or of
    the one whose delay is assumed or whose lag is longer, with the leaner lambda of all.
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

    def shown(self, rows: slice) -> np.ndarray:
        """Which rows tell of lambda under load: no mask takes them out, a flag as spoiled apart. At the lean end of its
        range the sensor still says "at least this lean": that counts, though it measures nothing."""
        masks_of = self.masks.by_name
        flagged = [flags[rows] for name, flags in masks_of.items() if name not in ("saturation", "spoiled")]
        kept = ~np.any(np.stack(flagged), axis=0)
        return self.loaded[rows] & kept & (~masks_of["saturation"][rows] | self.masks.lean_rail[rows])

    @property
    def lambda_aligned(self) -> np.ndarray:
        """Of several banks the leaner, row by row: to be shown. The larger of two readings is too lean by chance alone."""
        return self.aligned.lambda_

    @property
    def each_bank(self) -> dict[str, np.ndarray]:
        """Bank -> its own lambda at the time of injection: what events and means are taken of. One bank's is
        `lambda_aligned`."""
        return {name: bank.aligned.lambda_ for name, bank in self.banks.items()}


@dataclass(frozen=True)
class SpanAnswer:
    """Numbers of one pull. lambda_*: over the rows under load that no mask takes out (a spoiled pull's own are shown),
    NaN where there are none. judged_s, excess_max: of what is judged. left_out: mask -> seconds. loaded_s: under load.
    lost_s: without rows. hidden: as left_out, of the masks behind which a lean event could lie. blind: of several banks
    those that told nothing over more than half of what is judged."""

    rpm_from: float
    rpm_to: float
    lambda_mean: float
    lambda_max: float
    lambda_min: float
    load_max: float | None
    judged_s: float
    excess_max: float | None
    lean_events: list[lean_events.LeanEvent] = field(default_factory=list)
    other_events: list[other_events.OtherEvent] = field(default_factory=list)
    left_out: dict[str, float] = field(default_factory=dict)
    blind: list[str] = field(default_factory=list)
    loaded_s: float = 0.0
    lost_s: float = 0.0
    hidden: dict[str, float] = field(default_factory=dict)


def prepare(
    columns: Columns,
    model: transport.Transport | None = None,
    spoiled: Sequence[tuple[float, float]] = (),
    identified: bool = True,
) -> Judged:
    """Align, mask and target a whole session.

    model: of delay and lag; without one it is identified from the session's own events, or with `identified` False
    taken from the configuration and stated defaults. spoiled: (start_s, end_s) of the pulls that are flagged.
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
    named = masks.masks(columns, aligned, masks.Known(flagged, ~np.isfinite(wanted), gone))
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
    )


def parts(columns: Columns) -> dict[str, Columns]:
    """A session's columns by bank: each lambda sensor that tells anything with what belongs to all."""
    names = [name for name, one in columns.banks.items() if np.isfinite(one).any()]
    return {name: columns.of_bank(name) for name in names} if len(names) > 1 else {(names or [""])[0]: columns}


def one_bank(columns: Columns, model: transport.Transport | None, identified: bool) -> Bank:
    """Delay and lag of one lambda sensor undone. model, identified: as `prepare` has them."""
    found = identify.identify(columns) if model is None and identified else None
    aligned = align(columns, model if found is None else found.model)
    undone_s = aligned.model.tau_s if aligned.model.lag_known else 0.0
    white = uncertainty.white_noise(columns.lambda_)
    random_u = uncertainty.mean_u(white, aligned.noise_gain, lean_events.WINDOW_S, columns.period_s, undone_s)
    return Bank(aligned, random_u, found)


def delay_u_s(aligned: Aligned, rows: slice) -> np.ndarray:
    """Standard uncertainty of the transport delay, row by row."""
    return aligned.model.delay_u_s(aligned.flow.litres_per_s[rows])


def judge_span(judged: Judged, start_s: float, end_s: float) -> SpanAnswer:
    """One pull of a prepared session."""
    columns = judged.columns
    rows = columns.rows(start_s, end_s)
    period_s = columns.period_s
    rpm = columns.rpm[rows]
    loaded = judged.loaded[rows]
    lean_rail = judged.masks.lean_rail[rows]
    shown = judged.shown(rows)
    good = shown & ~judged.masks.by_name["spoiled"][rows]
    value = np.where(shown, judged.lambda_aligned[rows], np.nan)
    excess = np.where(good, value - judged.target[rows], np.nan)
    axis = columns.load()
    here = None if axis is None else axis.values[rows]
    banks = {name: np.where(good, bank[rows] - judged.target[rows], np.nan) for name, bank in judged.each_bank.items()}
    of_banks = {
        name: lean_events.events(
            lean_events.Rows(columns.time_s[rows], above, rpm, here, lean_rail & good, columns.load_unit),
            lean_events.Doubt(
                judged.banks[name].random_u,
                judged.budget.systematic,
                delay_u_s(judged.banks[name].aligned, rows),
            ),
        )
        for name, above in banks.items()
    }

    def with_hints(event: lean_events.LeanEvent) -> lean_events.LeanEvent:
        moved = hints.hints(columns, event.start_s, event.end_s, (start_s, end_s), judged.loaded)
        return replace(event, hints=tuple(moved))

    found = [with_hints(event) for event in lean_events.leaner(of_banks)]
    others = other_events.rich(columns.time_s[rows], excess) + other_events.oscillation(columns.time_s[rows], excess)
    if columns.map_kpa is not None:
        others += other_events.boost(columns.time_s[rows], columns.map_kpa[rows], loaded)
    largest = [lean_events.largest(above, period_s) for above in banks.values()]
    means = [
        np.nanmean(bank[rows][shown]) for bank in judged.each_bank.values() if np.isfinite(bank[rows][shown]).any()
    ]
    speeds = rpm[loaded & np.isfinite(rpm)]
    speeds = rpm[np.isfinite(rpm)] if len(speeds) == 0 else speeds
    short = local.mean(value, local.half_rows(lean_events.EDGE_WINDOW_S, period_s))[0]
    short = short[np.isfinite(value)]
    any_judged = len(short) > 0
    nan = float("nan")
    loads = np.zeros(0) if here is None else here[np.isfinite(here)]
    return SpanAnswer(
        rpm_from=float(speeds.min()) if len(speeds) else nan,
        rpm_to=float(speeds.max()) if len(speeds) else nan,
        lambda_mean=float(max(means, default=nan)),
        lambda_max=float(short.max()) if any_judged else nan,
        lambda_min=float(short.min()) if any_judged else nan,
        load_max=float(loads.max()) if len(loads) else None,
        judged_s=float(np.count_nonzero(np.isfinite(excess)) * period_s),
        excess_max=max((one for one in largest if one is not None), default=None),
        lean_events=found,
        other_events=others,
        left_out=judged.masks.seconds(rows, period_s),
        hidden=judged.masks.hidden(rows, loaded, period_s),
        loaded_s=float(np.count_nonzero(loaded) * period_s),
        lost_s=float(np.count_nonzero(columns.extra["present"][rows] < 0.5) * period_s)
        if "present" in columns.extra
        else 0.0,
        blind=[
            name for name, bank in columns.banks.items() if good.any() and np.isfinite(bank[rows][good]).mean() < 0.5
        ],
    )
