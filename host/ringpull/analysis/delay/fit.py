"""The least-squares problem of `identify`: injected lambda, carried to the sensor, against measured lambda."""

from __future__ import annotations

import copy
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ringpull.analysis import local
from ringpull.analysis.delay import transport
from ringpull.analysis.delay.cues import Events, Inputs, TimeZero
from ringpull.analysis.delay.transport import Flow, Transport
from ringpull.analysis.drive_state import sensor_range
from ringpull.analysis.drive_state.columns import Columns

STEP_S = 0.010  # the fit's own time step
BEFORE_S, AFTER_S, HISTORY_S, CYLINDER_S = 0.20, 0.90, 0.6, 1.2
TAIL_S = 0.30
REACH_S = 10.0  # span around an event that is used: longer than any delay
NOISE = 0.0075  # noise of a sample, correlated part included
TIMING_S = 0.004  # timing error of the model: a steep flank may be off by this
TOGETHER_S = 0.08  # samples of an event are correlated over this time, so each counts for its share
ITERATIONS, FIRST_ITERATIONS = 20, 6  # most iterations of the best start, and of each of several starts
CUT_ON, CUT_OFF, STEP, TAIL = range(4)

VOLUME, CONSTANT, TAU, PLATEAU, FILM_SHARE, FILM, LATENCY, CUT_LATENCY = range(8)
PARAMETERS = 8
# Weak priors (mean, standard deviation; logarithms of volume in displacements, tau, plateau, film). Common practice, no
# source. PLATEAU: lambda that the controller shows in air. LATENCY: delay of the computer's manifold pressure.
PRIOR = np.array(
    [
        [0.3, 1.0],
        [0.016, 0.010],
        [np.log(0.085), 0.5],
        [np.log(3.5), 0.6],
        [0.10, 0.10],
        [np.log(0.08), 0.7],
        [0.0, 0.02],
        [0.15, 0.15],
    ]
)
LOW = np.array([-2.5, -0.02, np.log(0.015), np.log(1.5), 0.0, np.log(0.015), -0.08, 0.0])
HIGH = np.array([2.6, 0.07, np.log(0.4), np.log(30.0), 0.6, np.log(0.4), 0.08, 0.8])
STEPS = np.array([0.02, 0.001, 0.02, 0.03, 0.01, 0.05, 0.002, 0.004])
AMOUNTS = 5  # of each event, solved within: offset, gain, tail's lag and film, puff
MOST_KEPT = 4  # results for earlier parameters that are kept for reuse
OUTLIER_COST, OUTLIER_MEDIANS = 25.0, 5.0
OFFSET_PRIOR, GAIN_PRIOR = 0.03, 0.15
# What the computer adds when a cut ends, and takes back over a quarter of a second or so. Its share of the fuel is held
# tightly: on drives without one it would else explain what the lag does. Common practice, no source.
PUFF_PRIOR, PUFF_S = 0.05, 0.25


@dataclass(frozen=True)
class Windows:
    """Windows around events.

    sensor_s: times at the sensor (events, samples). cylinder_s: times of injection, which reach further back. measured:
    NaN where not fitted. high: at or above the lean end of the range. kind: CUT_ON, CUT_OFF, STEP or TAIL.
    """

    sensor_s: np.ndarray
    cylinder_s: np.ndarray
    measured: np.ndarray
    high: np.ndarray
    kind: np.ndarray


def cut_windows(columns: Columns, found: Events) -> Windows:
    """The windows of a session that are fitted."""
    top = sensor_range.lambda_range(columns.config)[1]
    rail = top - 0.01 if np.isfinite(top) else 1e9
    rows = [*found.cut_on, *found.cut_off, *found.steps, *found.tails]
    counts = [len(found.cut_on), len(found.cut_off), len(found.steps), len(found.tails)]
    kind = np.repeat(np.arange(4), counts)
    start_s = columns.time_s[np.array(rows, int)][:, None]
    offsets = np.arange(round(-HISTORY_S / STEP_S), round(AFTER_S / STEP_S)) * STEP_S
    sensor_s = start_s + offsets
    back = np.arange(round(-CYLINDER_S / STEP_S), round(AFTER_S / STEP_S)) * STEP_S
    place = columns.place(sensor_s)
    smooth = local.mean(columns.lambda_, 1)[0]
    low = np.clip(np.floor(place).astype(int), 0, len(columns) - 2)
    measured = smooth[low] + (place - low) * (smooth[low + 1] - smooth[low])
    with np.errstate(invalid="ignore"):
        high = measured >= rail
    fitted = np.repeat((offsets >= -BEFORE_S)[None, :], len(rows), axis=0)
    for at, k in enumerate(kind):
        if k == CUT_ON:
            # until shortly after the end of the range: later samples belong to the end of the cut
            reached = np.flatnonzero(high[at] & (offsets > 0))
            if len(reached):
                fitted[at, reached[0] + round(0.03 / STEP_S) :] = False
        elif k == TAIL:
            fitted[at] = (offsets >= 0) & (offsets <= TAIL_S)
        elif k == CUT_OFF:
            # until the next cut, if one follows
            again = np.flatnonzero(high[at] & (offsets > 0.1))
            below = np.flatnonzero(~high[at] & (offsets > 0))
            if len(again) and len(below) and again[-1] > below[0]:
                fitted[at, again[again > below[0]][0] - 3 :] = False
    return Windows(sensor_s, start_s + back, np.where(fitted, measured, np.nan), high & fitted, kind)


def lag(values: np.ndarray, tau_s: float) -> np.ndarray:
    """First-order lag along the last axis, for input that is linear between steps of STEP_S and initially settled."""
    keep = np.exp(-STEP_S / tau_s)
    now = 1.0 - tau_s / STEP_S * (1.0 - keep)
    kicks = now * values[..., 1:] + (1.0 - keep - now) * values[..., :-1]
    powers = keep ** np.arange(1, values.shape[-1])
    kicks /= powers
    out = values.copy()
    np.cumsum(kicks, axis=-1, out=out[..., 1:])
    out[..., 1:] += values[..., :1]
    out[..., 1:] *= powers
    return out


class Fit:
    """The residuals of a set of parameters. The amounts of each event are solved within."""

    def __init__(self, columns: Columns, given: Inputs, flow: Flow, cut: Windows, displacement_l: float):
        self.cut, self.given, self.displacement_l, self.flow = cut, given, displacement_l, flow
        self.fitted = np.isfinite(cut.measured)
        self.measured = np.where(self.fitted, cut.measured, 0.0)
        self.cycle_deg = transport.cycle_deg(columns.config)
        self.time_s = columns.time_s
        self.map_kpa = transport.filled(local.mean(np.asarray(columns.map_kpa), 2)[0], 90.0, 10.0, len(columns))
        self.wanted = given.wanted
        self.off = given.cut.astype(float)
        offsets = np.arange(cut.sensor_s.shape[1]) - round(HISTORY_S / STEP_S)
        self.after_s = np.where(offsets >= 0, offsets, 0) * STEP_S
        self.fading = np.where((cut.kind == TAIL)[:, None] & (offsets >= 0), 1.0, 0.0)
        # only times near the events are needed; the rest of a long drive would slow down the search
        near = local.near(self.time_s, cut.cylinder_s[:, 0] - REACH_S, cut.cylinder_s[:, -1] + REACH_S)
        self.time_s, self.map_kpa, self.wanted, self.off = (
            values[near] for values in (self.time_s, self.map_kpa, self.wanted, self.off)
        )
        self.near_flow = flow.at(near)
        at = cut.cylinder_s
        self.map_here = np.interp(at, self.time_s, self.map_kpa)
        self.off_here = np.interp(at, self.time_s, self.off)
        self.wanted_here = np.interp(at, self.time_s, self.wanted)
        self.first_of_event = np.arange(len(at))[:, None] * at.shape[1]  # in the windows' samples, laid end to end
        self.injected_here = None if given.injected is None else np.interp(at, self.time_s, given.injected[near])
        self.tails = cut.kind == TAIL
        self.puff_here = self._puff()
        self.amount = np.zeros((len(cut.kind), AMOUNTS))
        self._kept: dict[str, dict[tuple[float, ...], np.ndarray]] = {}
        self.mixing = False  # True: the lag is one of 1/lambda (gas that mixes); False: one of lambda
        self.rail = sensor_range.lambda_range(columns.config)[1]

    def _puff(self) -> np.ndarray:
        """Fuel added at the end of a cut, as a share of what is added at once, at the windows' times of injection.

        Injector time holds it already.
        """
        if self.injected_here is not None:
            return np.zeros_like(self.off_here)
        off = self.off_here > 0.5
        at = np.arange(off.shape[1])
        last = np.maximum.accumulate(np.where(off, at, -1), axis=1)
        return np.where((last >= 0) & ~off, np.exp(-(at - last - 1) * STEP_S / PUFF_S), 0.0)

    def model(self, p: np.ndarray) -> Transport:
        """The transport model of a set of parameters."""
        volume_l = float(self.displacement_l * np.exp(p[VOLUME]))
        tau_s = float(np.exp(p[TAU]))
        return Transport(float(p[CONSTANT]), self.cycle_deg, volume_l, tau_s)

    def mixing_form(self) -> Fit:
        """This problem with a lag of 1/lambda."""
        out = copy.copy(self)
        out.mixing, out._kept, out.amount = True, {}, self.amount.copy()
        return out

    def _once(self, name: str, key: tuple[float, ...], make: Callable[[], np.ndarray]) -> np.ndarray:
        """make(), or its result for the same parameters if kept: slopes change one parameter at a time."""
        kept = self._kept.setdefault(name, {})
        if key not in kept:
            if len(kept) >= MOST_KEPT:
                kept.pop(next(iter(kept)))
            kept[key] = make()
        return kept[key]

    def _wanted_fuel(self, latency_s: float) -> np.ndarray:
        seen_s = self.cut.cylinder_s - latency_s
        known = self.given.zero is TimeZero.COMMANDED
        wanted = self.wanted_here if known else np.interp(seen_s, self.time_s, self.wanted)
        return np.interp(seen_s, self.time_s, self.map_kpa) / wanted

    def _cut(self, latency_s: float) -> np.ndarray:
        if self.injected_here is not None or self.given.cut_known:
            return self.off_here
        # cut while the throttle is closed, after it has been for the latency
        return self.off_here * np.interp(self.cut.cylinder_s - latency_s, self.time_s, self.off)

    def cylinder_lambda(self, p: np.ndarray) -> np.ndarray:
        """Lambda in the cylinder at the windows' times of injection, (events, samples)."""
        return self._once("cylinder", tuple(p[PLATEAU:].tolist()), lambda: self._cylinder_lambda(p))

    def _cylinder_lambda(self, p: np.ndarray) -> np.ndarray:
        off = self._once("cut", (float(p[CUT_LATENCY]),), lambda: self._cut(float(p[CUT_LATENCY])))
        if self.injected_here is not None:
            fuel = self.injected_here
        else:
            fuel = self._once("fuel", (float(p[LATENCY]),), lambda: self._wanted_fuel(float(p[LATENCY])))
            fuel = fuel * (1.0 - off)
        if p[FILM_SHARE] > 0:
            # injection compensates for wall film except at cuts: only fuel that stops and returns wets the walls again
            film_s = float(np.exp(p[FILM]))
            if self.injected_here is not None:
                delivered = fuel - p[FILM_SHARE] * (fuel - lag(fuel, film_s))
            else:
                dry = lag(off, film_s)
                delivered = fuel * (1.0 - p[FILM_SHARE] * dry) + p[FILM_SHARE] * (off * self.map_here * (1.0 - dry))
        else:
            delivered = fuel
        return 1.0 / np.maximum(delivered / self.map_here, np.exp(-p[PLATEAU]))

    def at_sensor(self, values: np.ndarray, source_s: np.ndarray) -> np.ndarray:
        """`values`, given at the windows' cylinder times, interpolated at the times of injection `source_s`."""
        place = (source_s - self.cut.cylinder_s[:, :1]) / STEP_S
        low = np.minimum(np.maximum(np.floor(place).astype(int), 0), values.shape[1] - 2)
        share = np.minimum(np.maximum(place - low, 0.0), 1.0)
        low += self.first_of_event
        left = values.take(low)
        low += 1
        return left + share * (values.take(low) - left)

    def _source_s(self, model: Transport) -> np.ndarray:
        return transport.injection_s(model, self.near_flow, self.cut.sensor_s.ravel()).reshape(self.cut.sensor_s.shape)

    def _reach(self, p: np.ndarray, source_s: np.ndarray) -> np.ndarray:
        """Lambda of the gas at the sensor, before the sensor's lag."""
        reach = self.at_sensor(self.cylinder_lambda(p), source_s)
        reach[self.tails] = np.interp(source_s[self.tails], self.time_s, self.wanted)
        return reach

    def predict(self, p: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """(model lambda at the sensor (events, samples), weights), with each event's amounts solved."""
        model = self.model(p)
        key = tuple(p.tolist())
        source_s = self._once("source", (key[VOLUME], key[CONSTANT]), lambda: self._source_s(model))
        moved_by = tuple(key[k] for k in range(PARAMETERS) if k != TAU)
        reach = self._once("reach", moved_by, lambda: self._reach(p, source_s))
        tau_s = model.tau_s
        level = np.clip(reach, 0.5, 1.3)
        carried = 1.0 / reach if self.mixing else reach
        puff = self._once("puff", (key[VOLUME], key[CONSTANT]), lambda: self.at_sensor(self.puff_here, source_s))
        base, moved, richer = lag(np.stack([carried, level - level[:, -1:], -level * puff]), tau_s)
        base = 1.0 / base if self.mixing else base
        fade = self.fading * np.exp(-self.after_s / tau_s)
        film = self.fading * np.exp(-self.after_s / np.exp(p[FILM]))
        parts = np.stack([np.ones_like(base), moved, fade, film, richer], axis=-1)
        weight = self.fitted / np.hypot(NOISE, TIMING_S * np.gradient(base, STEP_S, axis=1))
        # a censored sample counts only against a model that stays below the end of the range
        weight = np.where(self.cut.high & (base >= self.measured), 0.0, weight)
        weighted = parts * weight[..., None]
        held = [1 / OFFSET_PRIOR**2, 1 / GAIN_PRIOR**2, 0.1, 1 / (0.01 + p[FILM_SHARE]) ** 2, 1 / PUFF_PRIOR**2]
        prior = np.diag(held)
        across = weighted.transpose(0, 2, 1)
        right = across @ ((self.measured - base) * weight)[..., None]
        amount = np.linalg.solve(across @ weighted + prior, right)
        self.amount = amount[..., 0]
        return base + (parts @ amount)[..., 0], weight

    def residuals(self, p: np.ndarray) -> np.ndarray:
        """The residuals, (events + 1, samples).

        They are weighted, and softened beyond three standard deviations. An event's unused first columns hold its
        offset, gain and puff against their priors; the last row holds the parameters against theirs.
        """
        predicted, weight = self.predict(p)
        # beyond the sensor's range the error is bounded, with a small slope that leads the fit back
        beyond = predicted > self.rail
        shown = predicted.copy()
        shown[beyond] = self.rail + 0.05 * (predicted[beyond] - self.rail)
        soft = (self.measured - shown) * weight
        soft[self.cut.high & (predicted >= self.measured)] = 0.0
        far = np.abs(soft) > 3.0
        soft[far] = np.copysign(np.sqrt(6.0 * np.abs(soft[far]) - 9.0), soft[far])
        soft *= np.sqrt(STEP_S / TOGETHER_S)
        soft[:, 0] = self.amount[:, 0] / OFFSET_PRIOR
        soft[:, 1] = self.amount[:, 1] / GAIN_PRIOR
        soft[:, 2] = self.amount[:, 4] / PUFF_PRIOR
        prior = np.zeros(soft.shape[1])
        prior[:PARAMETERS] = (p - PRIOR[:, 0]) / PRIOR[:, 1]
        return np.concatenate([soft, prior[None]])

    def jacobian(self, p: np.ndarray, at: np.ndarray) -> np.ndarray:
        """Slopes of the residuals, (events + 1, samples, parameters), by differences within the bounds."""
        out = np.empty((*at.shape, PARAMETERS))
        for k in range(PARAMETERS):
            step = STEPS[k] if p[k] + STEPS[k] <= HIGH[k] else -STEPS[k]
            moved = p.copy()
            moved[k] += step
            out[..., k] = (self.residuals(moved) - at) / step
        return out

    def solve(self, p: np.ndarray, iterations: int = ITERATIONS) -> tuple[np.ndarray, float]:
        """Levenberg-Marquardt with bounds from `p`: (parameters, sum of squares)."""
        damping, at = 0.03, self.residuals(p)
        cost = float(np.sum(at**2))
        for _ in range(iterations):
            slopes = self.jacobian(p, at).reshape(-1, PARAMETERS)
            normal, pull = slopes.T @ slopes, slopes.T @ at.ravel()
            # a parameter at its bound that would move outwards is held
            free = ~(((p <= LOW) & (pull > 0)) | ((p >= HIGH) & (pull < 0)))
            before = cost
            for _ in range(6):
                damped = normal[np.ix_(free, free)] + damping * np.diag(np.diag(normal)[free])
                trial = p.copy()
                trial[free] -= np.linalg.solve(damped, pull[free])
                trial = np.clip(trial, LOW, HIGH)
                there = self.residuals(trial)
                there_cost = float(np.sum(there**2))
                if there_cost < cost:
                    p, at, cost, damping = trial, there, there_cost, damping * 0.3
                    break
                damping *= 5.0
            if before - cost < 2e-4 * before:
                break
        return p, cost

    def leave_out(self, p: np.ndarray) -> int:
        """Drop events that no parameters explain (something else happened there), and return their number."""
        cost = np.sum(self.residuals(p)[:-1] ** 2, axis=1)
        bad = cost > np.maximum(OUTLIER_COST, OUTLIER_MEDIANS * np.median(cost))
        if np.count_nonzero(bad) * 3 > len(cost):
            return 0
        self.fitted[bad] = False
        return int(np.count_nonzero(bad))

    def lags_by_kind(self, p: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """(shift of the lag's logarithm that each kind of event alone would make, its information), (4,) each.

        One least-squares step in the lag alone; NaN and 0 for kinds without events.
        """
        at = self.residuals(p)
        slopes = self.jacobian(p, at)[:-1, :, TAU]
        moves, weights = np.full(4, np.nan), np.zeros(4)
        for kind in range(4):
            here = self.cut.kind == kind
            weights[kind] = float(np.sum(slopes[here] ** 2))
            if weights[kind] > 0:
                moves[kind] = -float(np.sum(slopes[here] * at[:-1][here])) / weights[kind]
        return moves, weights

    def covariance(self, p: np.ndarray) -> np.ndarray:
        """Covariance of the parameters from the scatter between events (cluster-robust), at least that of the fit."""
        at = self.residuals(p)
        slopes = self.jacobian(p, at)
        flat = slopes.reshape(-1, PARAMETERS)
        inverse = np.linalg.inv(flat.T @ flat)
        scores = np.einsum("eik,ei->ek", slopes, at)[:-1]
        count = len(scores)
        between = inverse @ (scores.T @ scores * (count / max(1, count - 4))) @ inverse
        scale = np.sqrt(np.maximum(1.0, np.diag(inverse) / np.maximum(np.diag(between), 1e-18)))
        return between * np.outer(scale, scale)
