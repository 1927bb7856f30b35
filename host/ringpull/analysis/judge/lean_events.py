"""Lean events: lambda above target under load, by more than its random uncertainty, for long enough."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from statistics import NormalDist

import numpy as np

from ringpull.analysis import local
from ringpull.analysis.judge import limiter
from ringpull.analysis.judge.hints import Hint

WINDOW_S = 0.25  # the shortest event that must be found: a longer window would dilute it, a shorter one adds scatter
LEAST_DEPTH = 0.033  # a smaller mean excess over WINDOW_S is no event
DOUBT_DEPTH = 0.030  # nor is it good data if larger than this: 0.04 lean for WINDOW_S reaches it in 95 of 100 cases
# Where a good mixture is leanest, by its table and from pull to pull. Scatter comes on top of it, and of the many
# windows of a drive some lie there: held against an excess of 0 alone, they would be called.
GOOD_DEPTH = 0.022
EDGE_WINDOW_S = 0.08
LEAST_S = 0.15
JOIN_S = 0.10
SIGMAS = 3.0  # an event exceeds GOOD_DEPTH by so many random standard uncertainties of the window's mean
EXPANDED = 1.96


@dataclass(frozen=True)
class LeanEvent:
    """One event, at the time of injection.

    depth: largest excess (lambda above target, mean over WINDOW_S), minus the amount by which noise makes the largest
    of several such means too high. depth_u: half-width of its 95 % interval from random errors and the alignment.
    systematic_u: half-width of the systematic part, which shifts all events alike. exposure_s: integral of the excess,
    lambda x seconds. chance: that noise alone reaches this depth somewhere in the pull. load_unit: unit of load_from
    and load_to. bound: lambda was at the end of the sensor's range, so the true depth may be larger. hints: changes of
    other channels. bank: of several the leaner; bank_label: its name to show. target: target lambda at the deepest
    point.
    """

    start_s: float
    end_s: float
    rpm_from: float
    rpm_to: float
    load_from: float | None
    load_to: float | None
    deepest_s: float
    deepest_rpm: float
    depth: float
    depth_u: float
    systematic_u: float
    exposure_s: float
    chance: float
    bound: bool = False
    hints: tuple[Hint, ...] = ()
    bank: str | None = None
    load_unit: str = ""
    target: float = float("nan")
    bank_label: str = ""

    @property
    def length_s(self) -> float:
        """Length of the event in seconds."""
        return self.end_s - self.start_s


def call_above(random_u: float) -> float:
    """The mean excess over WINDOW_S above which there is a lean event. random_u: standard uncertainty of that mean.

    Between DOUBT_DEPTH and this, it may be a shallow event, or scatter where a good mixture is leanest.
    """
    return max(LEAST_DEPTH, GOOD_DEPTH + SIGMAS * random_u)


def normal_tail(z: float) -> float:
    """Chance of a standard normal value above z."""
    from math import erfc, sqrt

    return 0.5 * erfc(z / sqrt(2.0))


def chance_of_noise(depth: float, u: float, windows: float) -> float:
    """Chance that the largest of `windows` independent means of standard deviation u reaches `depth` (normal noise)."""
    if u <= 0:
        return 0.0
    single = normal_tail(depth / u)
    return float(-np.expm1(max(1.0, windows) * np.log1p(-min(single, 1.0 - 1e-12))))


def expected_largest(count: float) -> float:
    """Mean of the largest of `count` independent standard normal values (Blom 1958, value from memory; good to
    0.03)."""
    return NormalDist().inv_cdf((count - 0.375) / (count + 0.25))


def largest(excess: np.ndarray, period_s: float) -> tuple[float | None, int]:
    """(the largest mean of an excess over WINDOW_S, its row); None if no window is half full. excess: NaN where not
    judged."""
    half = local.half_rows(WINDOW_S, period_s)
    smooth, count = local.mean(excess, half)
    smooth = np.where((count >= half) & np.isfinite(excess), smooth, -np.inf)
    at = int(np.argmax(smooth)) if len(smooth) else 0
    return (float(smooth[at]), at) if len(smooth) and np.isfinite(smooth[at]) else (None, 0)


def runs(excess: np.ndarray, period_s: float, call: float) -> list[tuple[int, int]]:
    """Rows (first, after last) of events in a column of excess (NaN = not judged).

    An event is a run of rows where the mean over EDGE_WINDOW_S or over WINDOW_S is above `call`, and at some row the
    latter is. The longer window widens a deep event by some 20 ms. Runs closer than JOIN_S are joined.
    """
    long_half, short_half = local.half_rows(WINDOW_S, period_s), local.half_rows(EDGE_WINDOW_S, period_s)
    long_mean, count = local.mean(excess, long_half)
    short_mean, _ = local.mean(excess, short_half)
    judged = np.isfinite(excess)
    with np.errstate(invalid="ignore"):
        core = judged & (long_mean > call) & (count >= long_half)
        wide = judged & ((short_mean > call) | core)
    wide = local.close_gaps(wide, round(JOIN_S / period_s))
    return [(a, b) for a, b in local.spans(wide) if core[a:b].any() and (b - a) * period_s >= LEAST_S]


@dataclass(frozen=True)
class Rows:
    """One pull's rows of one bank.

    excess: lambda minus target, NaN where not judged. bound: at the lean end of the range. load: None without a load;
    load_unit: its unit.
    """

    time_s: np.ndarray
    excess: np.ndarray
    rpm: np.ndarray
    load: np.ndarray | None
    bound: np.ndarray
    load_unit: str = ""


@dataclass(frozen=True)
class Doubt:
    """Standard uncertainties. random_u: of a mean over WINDOW_S. systematic_u: common to all rows. delay_u_s: of the
    delay, (rows,)."""

    random_u: float
    systematic_u: float
    delay_u_s: np.ndarray


def events(rows: Rows, doubt: Doubt) -> list[LeanEvent]:
    """The lean events in the rows of one pull."""
    time_s, excess, rpm, load = rows.time_s, rows.excess, rows.rpm, rows.load
    random_u = doubt.random_u
    if len(time_s) < 3:
        return []
    period_s = float(np.median(np.diff(time_s)))
    call = call_above(random_u)
    half = local.half_rows(WINDOW_S, period_s)
    smooth, slope, _ = local.line(excess, period_s, half)
    smooth = np.where(np.isfinite(smooth), smooth, local.mean(excess, half)[0])
    windows = np.count_nonzero(np.isfinite(excess)) * period_s / WINDOW_S
    out = []
    for first, last in runs(excess, period_s, call):
        inside = slice(first, last)
        values = np.where(np.isfinite(excess[inside]), smooth[inside], np.nan)
        if not np.isfinite(values).any():
            continue
        deepest = first + int(np.nanargmax(values))
        largest = float(smooth[deepest])
        # number of windows that may each be the deepest: all of them in a flat event, one in a pointed event
        level = np.count_nonzero(values >= largest - 2.0 * random_u) * period_s
        chosen = random_u * expected_largest(max(1.0, level / WINDOW_S))
        depth = largest - chosen
        moved = float(np.nanmax(np.abs(slope[inside]), initial=0.0)) * float(doubt.delay_u_s[deepest]) * 0.5
        speeds = rpm[inside][np.isfinite(rpm[inside])]
        loads = np.zeros(0) if load is None else load[inside][np.isfinite(load[inside])]
        has_load = len(loads) > 0
        out.append(
            LeanEvent(
                start_s=float(time_s[first]),
                end_s=float(time_s[last - 1] + period_s),
                rpm_from=float(speeds.min()) if len(speeds) else float("nan"),
                rpm_to=float(speeds.max()) if len(speeds) else float("nan"),
                load_from=float(loads.min()) if has_load else None,
                load_to=float(loads.max()) if has_load else None,
                deepest_s=float(time_s[deepest]),
                deepest_rpm=float(rpm[deepest]),
                depth=depth,
                depth_u=EXPANDED * float(np.sqrt(random_u**2 + moved**2 + 0.25 * chosen**2)),
                systematic_u=EXPANDED * doubt.systematic_u,
                exposure_s=float(np.nansum(np.maximum(excess[inside], 0.0)) * period_s),
                chance=chance_of_noise(largest, random_u, windows),
                bound=bool(rows.bound[inside].any()),
                load_unit=rows.load_unit,
            )
        )
    return out


def leaner(of_banks: dict[str, list[LeanEvent]]) -> list[LeanEvent]:
    """The events of all banks in order of time; overlapping events become one, with the depth of the leaner bank."""
    if len(of_banks) == 1:
        return next(iter(of_banks.values()))
    out: list[LeanEvent] = []
    every = [replace(event, bank=name) for name, events in of_banks.items() for event in events]
    for event in sorted(every, key=lambda one: one.start_s):
        # with several banks noise has as many chances
        chance = float(-np.expm1(len(of_banks) * np.log1p(-min(event.chance, 1.0 - 1e-12))))
        event = replace(event, chance=chance)
        if not out or event.start_s >= out[-1].end_s:
            out.append(event)
            continue
        both = joined(out[-1], event)
        out[-1] = replace(both, exposure_s=max(out[-1].exposure_s, event.exposure_s))
    return out


def joined(first: LeanEvent, second: LeanEvent) -> LeanEvent:
    """Two events of a pull as one, with the depth of the deeper. first: the one that begins first."""
    return replace(
        max((first, second), key=lambda one: one.depth),
        start_s=first.start_s,
        end_s=max(first.end_s, second.end_s),
        rpm_from=min(first.rpm_from, second.rpm_from),
        rpm_to=max(first.rpm_to, second.rpm_to),
        exposure_s=first.exposure_s + second.exposure_s,
    )


def joined_at_limiter(events: list[LeanEvent], spans: Sequence[limiter.Span]) -> list[LeanEvent]:
    """The events of a pull in order of time; those in one stretch at the limiter are one: each cut reads lean."""
    out: list[LeanEvent] = []
    where: list[limiter.Span | None] = []
    for event in events:
        stretch = limiter.at(event.start_s, event.end_s, spans)
        if stretch is not None and stretch in where:
            out[where.index(stretch)] = joined(out[where.index(stretch)], event)
        else:
            out.append(event)
            where.append(stretch)
    return out
