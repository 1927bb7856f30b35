"""Whether a lambda channel agrees with its signal wire, which a second input measures against the logger's own ground.

In sound wiring the two differ by the difference of the grounds, whatever the signal is. With a broken ground core, or
one that touches ground, they differ by a share of the signal (hardware/circuit/blocks/differential.py): 0.627 of it is
left, or 1.25.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ringpull.analysis import local
from ringpull.analysis.instruments.glance import RUNNING_RPM, Glance, decimated, shares
from ringpull.analysis.instruments.lambda_checks import measured
from ringpull.analysis.instruments.records import Cause, Check, Finding, Span, contradicted, not_tested, sound
from ringpull.files.configuration import ConfiguredChannel
from shared_math import judging

BESIDE_S = 0.1  # a slow converter tells the wire's volts so much later, or earlier, than lambda's
APART_S, FLICKER_S = 0.1, 0.5  # one contradiction lasts so long; shorter ones count if they last so long together
BESIDE_FALSE_S = 0.25  # readings this close to false ones are not believed either: lags are undone across rows
WHOLE_SHARE = 0.9  # a channel that is false for a larger share of the time is not believed for the rest
TELLS_V, TESTED_S = 1.0, 5.0  # a sound wire is tested where a broken core would show: it takes 0.37 of the signal
# A share of the signal that is lost or gained without that: most; span of the signal that tells it; means; how sure
LOST_SHARE, SPAN_V, MEAN_S, MEANS_LEAST, SURE = 0.04, 1.0, 1.0, 10, 3.0
# Without throttle and pressure nothing tells load. Grounds go with it, 0.2 V and more over the 1 V of lambda
UNKNOWN_LOAD_SHARE = 0.3
OUTLIER = 4.0  # in standard deviations by the median
# So much lost all along, and nothing else, is a corroded core: the readings are kept, since lean ones among them must
# be looked at. What a broken core leaves is no measurement
KEPT_SHARE, KEPT_SCATTER_V = 0.2, 0.05


@dataclass(frozen=True)
class Pair:
    """lambda_v, wire_v: volts at the terminals, (rows,); NaN where one of both measures nothing, or the engine
    stands."""

    lambda_v: np.ndarray
    wire_v: np.ndarray
    period_s: float

    @property
    def both(self) -> np.ndarray:
        return np.isfinite(self.lambda_v)

    def seconds(self, flags: np.ndarray) -> float:
        """The time that some rows last."""
        return float(np.count_nonzero(flags)) * self.period_s

    def figures(self, flags: np.ndarray) -> dict[str, float]:
        """How far the two are apart in some rows, and what share of the wire's volts lambda has there."""
        wire_v, lambda_v = self.wire_v[flags], self.lambda_v[flags]
        middle_v = float(np.median(wire_v))
        share = float(np.median(lambda_v)) / middle_v if middle_v > judging.WIRE_ABOVE_V else float("nan")
        return {
            "apart_v": float(np.median(np.abs(wire_v - lambda_v))),
            "share": share,
            "seconds": self.seconds(flags),
        }


def agrees(glance: Glance, channel: ConfiguredChannel) -> Finding:
    """Whether a lambda channel has the volts of its signal wire, apart from what sound grounds differ by: within the
    limits of shared_math/judging.py, and no share of the signal."""
    pair = pair_of(glance, channel)
    if pair is None or not pair.both.any():
        return not_tested(Check.WIRE)
    lost, scatter_v = share_lost(glance, pair)
    columns = glance.columns
    if columns.map_kpa is None and columns.throttle is None and abs(lost) <= UNKNOWN_LOAD_SHARE:
        lost = 0.0
    if abs(lost) > LOST_SHARE and abs(lost) <= KEPT_SHARE and scatter_v <= KEPT_SCATTER_V:
        return contradicted(Check.WIRE, Cause.GROUND, (), **pair.figures(pair.both) | {"share": 1.0 - lost})
    apart = apart_rows(pair)
    runs = contradictions(apart, pair.period_s)
    if runs:
        flags = np.zeros(len(apart), bool)
        for first, last in runs:
            flags[first:last] = True
        figures = pair.figures(flags & apart)
        whole = figures["seconds"] > WHOLE_SHARE * pair.seconds(pair.both)
        spans = (glance.times(0, len(apart)),) if whole else spans_around(glance, pair, runs)
        return contradicted(Check.WIRE, Cause.GROUND, spans, **figures)
    figures = pair.figures(pair.both)
    if abs(lost) > LOST_SHARE:
        return contradicted(Check.WIRE, Cause.GROUND, (), **figures | {"share": 1.0 - lost})
    with np.errstate(invalid="ignore"):
        tested = pair.seconds(pair.wire_v >= TELLS_V) >= TESTED_S
    return sound(Check.WIRE, **figures) if tested else not_tested(Check.WIRE)


def pair_of(glance: Glance, channel: ConfiguredChannel) -> Pair | None:
    """The volts of a lambda channel and of its signal wire; None if no channel measures that once more."""
    columns = glance.columns
    wire = next((one for one in columns.config.channels if one.checks == channel.name), None)
    if wire is None or wire.name not in columns.named:
        return None
    lambda_v = volts_of(channel, measured(columns, channel.name))
    wire_v = volts_of(wire, columns.named[wire.name])
    if lambda_v is None or wire_v is None:
        return None
    with np.errstate(invalid="ignore"):
        both = np.isfinite(lambda_v) & np.isfinite(wire_v) & (columns.rpm > RUNNING_RPM)
    return Pair(np.where(both, lambda_v, np.nan), np.where(both, wire_v, np.nan), columns.period_s)


def volts_of(channel: ConfiguredChannel, values: np.ndarray) -> np.ndarray | None:
    """The volts at which a channel along points has these values; None if different volts have one value."""
    points = sorted(zip(channel.values, channel.volts, strict=True))
    known = np.array([value for value, _ in points]) / channel.per_lambda
    volts = np.array([volt for _, volt in points])
    steps_v = np.diff(volts)
    if np.any(np.diff(known) <= 0) or not (np.all(steps_v > 0) or np.all(steps_v < 0)):
        return None
    return np.interp(values, known, volts)


def apart_rows(pair: Pair) -> np.ndarray:
    """Rows whose lambda is further from its wire than sound grounds are, at any time within BESIDE_S, (rows,)."""
    rows = local.half_rows(2.0 * BESIDE_S, pair.period_s)
    low = -local.highest_near(-pair.wire_v, rows)
    high = local.highest_near(pair.wire_v, rows)
    with np.errstate(invalid="ignore"):
        below = pair.lambda_v < low - judging.WIRE_ABOVE_V
        return pair.both & (below | (pair.lambda_v > high + judging.WIRE_BELOW_V))


def contradictions(apart: np.ndarray, period_s: float) -> list[tuple[int, int]]:
    """(first, row after the last) of the stretches that count."""
    runs = local.spans(apart)
    long = [(a, b) for a, b in runs if (b - a) * period_s >= APART_S - 1e-9]
    brief_s = sum(b - a for a, b in runs if (b - a) * period_s < APART_S - 1e-9) * period_s
    return runs if brief_s >= FLICKER_S else long


def spans_around(glance: Glance, pair: Pair, runs: list[tuple[int, int]]) -> tuple[Span, ...]:
    """The times of some contradictions, up to where the two agree, with BESIDE_FALSE_S on both sides; those that touch
    are one.

    Between them and that agreement nothing tells whether lambda is right: the wire is out of its range, or too low.
    """
    with np.errstate(invalid="ignore"):
        # beside a contradiction the narrower limit holds on both sides
        near = np.abs(pair.wire_v - pair.lambda_v) <= judging.WIRE_ABOVE_V
        agreed = np.flatnonzero(near & (pair.wire_v >= TELLS_V))
    out: list[Span] = []
    for first, last in runs:
        before, after = np.searchsorted(agreed, (first, last))
        first = int(agreed[before - 1]) + 1 if before else 0
        last = int(agreed[after]) if after < len(agreed) else len(near)
        start_s, end_s = glance.times(first, last)
        start_s, end_s = start_s - BESIDE_FALSE_S, end_s + BESIDE_FALSE_S
        if out and start_s <= out[-1][1]:
            start_s = out.pop()[0]
        out.append((start_s, end_s))
    return tuple(out)


def share_lost(glance: Glance, pair: Pair) -> tuple[float, float]:
    """(the share of the signal that lambda's input loses, below 0: gains; scatter about that in volts). The share is 0
    if it is not surely beyond LOST_SHARE.

    The difference of the grounds goes with the engine's load: under load it has a constant of its own.
    """
    rows = max(1, round(MEAN_S / pair.period_s))
    signal_v = decimated(pair.lambda_v, rows)
    grounds_v = decimated(pair.wire_v - pair.lambda_v, rows)
    loaded = shares(np.repeat(glance.loaded, glance.rows), rows)
    count = min(len(signal_v), len(loaded))
    signal_v, grounds_v, loaded = signal_v[:count], grounds_v[:count], loaded[:count]
    known = np.isfinite(signal_v)
    if np.count_nonzero(known) < MEANS_LEAST or np.ptp(signal_v[known]) < SPAN_V:
        return 0.0, float("nan")
    sides = np.column_stack([np.ones(count), loaded, signal_v])[known]
    slope, off_v, slope_u = slope_of(sides, grounds_v[known])
    scatter_v = 1.4826 * float(np.median(np.abs(off_v - np.median(off_v))))
    near = np.abs(off_v - np.median(off_v)) <= OUTLIER * scatter_v + 1e-9
    if not near.all():
        slope, _, slope_u = slope_of(sides[near], grounds_v[known][near])
    sure = abs(slope) - SURE * slope_u > LOST_SHARE
    return (slope / (1.0 + slope) if sure else 0.0), scatter_v


def slope_of(sides: np.ndarray, values: np.ndarray) -> tuple[float, np.ndarray, float]:
    """(the last side's factor, what is left of the values, the factor's standard uncertainty) by least squares.

    What is left keeps its sign for a while, so that it tells less than as many independent values.
    """
    factors = np.linalg.lstsq(sides, values, rcond=None)[0]
    left = values - sides @ factors
    free = len(values) - sides.shape[1]
    variance = float(left @ left) / max(free, 1)
    spread = float(np.linalg.pinv(sides.T @ sides)[-1, -1])
    alike = float(left[1:] @ left[:-1]) / float(left @ left) if variance > 0 else 0.0
    alike = min(max(alike, 0.0), 0.95)
    enough = free > 0 and spread > 0
    slope_u = float(np.sqrt(variance * spread * (1.0 + alike) / (1.0 - alike))) if enough else float("inf")
    return float(factors[-1]), left, slope_u
