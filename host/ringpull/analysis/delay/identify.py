"""Exhaust volume, constant delay and sensor lag from events of the drive, with uncertainty.

A first-order lag plus delay is fitted by least squares to all events at once: injected lambda is carried through crank
angle and exhaust volume to the sensor, lagged, and compared with measured lambda. Samples at the end of the sensor's
range are censored: they count only against a model on the wrong side of them. Uncertainty comes from the scatter
between events, since the covariance of the fit itself is several times too small here.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ringpull.analysis.delay import cues, fit, forms, transport
from ringpull.analysis.delay.cues import TimeZero
from ringpull.analysis.delay.origin import FromEvents, LagApart, Unfit
from ringpull.analysis.delay.transport import Transport
from ringpull.analysis.drive_state.columns import Columns
from ringpull.files.configuration import Configuration

LEAST_EVENTS = 3
MOST_TAU_U = 0.50
MOST_DELAY_U_S = 0.030  # a delay with a larger uncertainty is called not identifiable
STARTS = (0.5, 1.3, 3.2)  # exhaust volumes to start from, in displacements
CUT_STARTS_S = (0.05, 0.20, 0.35)  # latencies of the cut to start from if it isn't logged: a wrong one traps the fit
FINISHED = 2  # so many of the best starts are fitted to the end
HOPEFUL = 2.0  # unless their sum of squares exceeds that of the best by this factor
# Errors of the model itself (gas temperature, efficiency, film), whatever the fit shows: constant delay in seconds, and
# shares of volume and lag. Without injector time, what the computer adds when a cut ends is a guess; with the throttle
# as time zero the cut's moment is one too. Chosen on random drives (tests/bench/ANSWER_RESULTS.md).
FLOOR = {TimeZero.INJECTOR: (0.005, 0.06, 0.08), TimeZero.COMMANDED: (0.005, 0.06, 0.20)}
APPARENT_FLOOR = (0.0125, 0.12, 0.24)
# Where fewer than so many ends of cuts and falls are seen, the lag comes from steps of the target alone: a share more,
# and with the throttle as time zero not from fewer than so many.
LEAST_RECOVERIES, STEPS_ALONE, STEPS_ALONE_APPARENT, LEAST_STEPS_APPARENT = 2, 0.10, 0.25, 8


@dataclass(frozen=True)
class Identified:
    """model: delay and lag to remove from lambda, with uncertainty. events: number of events with a time.

    done: False if only configuration and assumptions tell the delay; model.source has why. estimate: the apparent delay
    if the throttle is time zero, which is not used; else None. cut_latency_s: from closing the throttle to the cut, if
    fitted. lag_apart: a configured lag that the drive contradicts, else None.
    """

    model: Transport
    events: int
    done: bool
    estimate: Transport | None = None
    cut_latency_s: float | None = None
    lag_apart: LagApart | None = None


def identify(columns: Columns) -> Identified:
    """Delay and lag of a session from its events; as configured or assumed, with the reason, if they show none."""
    fallback, without = transport.default(columns.config), transport.not_from_events(columns.config)

    def not_identifiable(unfit: Unfit, count: int = 0) -> Identified:
        return Identified(replace(fallback, source=replace(without, unfit=unfit, events=count)), count, False)

    if columns.map_kpa is None or not np.isfinite(columns.map_kpa).any():
        return not_identifiable(Unfit.NO_PRESSURE)
    if not np.isfinite(columns.lambda_).any() or not np.isfinite(columns.rpm).any():
        return not_identifiable(Unfit.NO_SIGNAL)
    given = cues.inputs(columns)
    found = cues.find(columns, given)
    timed = len(found.cut_on) + len(found.cut_off) + len(found.steps)
    if timed < LEAST_EVENTS:
        return not_identifiable(Unfit.FEW_EVENTS, timed)
    displacement_l = columns.config.engine.assumed_cc / 1000.0
    problem = fit.Fit(columns, given, transport.flow(columns), fit.cut_windows(columns, found), displacement_l)
    p = best(problem, given.cut_known)
    if problem.leave_out(p):
        p, _ = problem.solve(p)
    answer = forms.formed(problem, p)
    model, lag_shown = with_uncertainty(answer, given, fallback)
    apart = lag_apart(columns.config, model)
    cuts, ends, steps, tails = counted(problem)
    used = timed + len(found.tails)
    source = FromEvents(
        cuts, ends, steps, tails, given.zero, lag_shown, without, apart, found.seen, used, cues.MOST_EVENTS
    )
    pull_flow = float(np.percentile(problem.flow.litres_per_s, 95))
    if model.delay_u_s(pull_flow) > MOST_DELAY_U_S:
        return not_identifiable(Unfit.UNCERTAIN, timed)
    latency = None if given.cut_known else float(answer.p[fit.CUT_LATENCY])
    if given.zero.is_injection:
        return Identified(replace(model, source=source), timed, True, None, latency, apart)
    moved = replace(fallback, tau_s=model.tau_s, tau_u_s=model.tau_u_s, lag_known=model.lag_known, source=source)
    return Identified(moved, timed, True, replace(model, source=source), latency, apart)


def lag_apart(config: Configuration, model: Transport) -> LagApart | None:
    """The contradiction of a configured lag; None without a configured lag, or if the two agree."""
    configured_s = transport.configured_lag_s(config)
    if configured_s is None or not model.lag_known or model.tau_s == configured_s:
        return None
    if abs(model.tau_s - configured_s) <= 1.96 * model.tau_u_s:
        return None
    return LagApart(configured_s, model.tau_s, model.tau_u_s)


def best(problem: fit.Fit, cut_known: bool) -> np.ndarray:
    """The parameters with the least sum of squares from several starts."""
    latencies_s = (fit.PRIOR[fit.CUT_LATENCY, 0],) if cut_known else CUT_STARTS_S
    begun = []
    for share in STARTS:
        for latency_s in latencies_s:
            start = fit.PRIOR[:, 0].copy()
            start[fit.VOLUME], start[fit.CUT_LATENCY] = np.log(share), latency_s
            begun.append(problem.solve(start, fit.FIRST_ITERATIONS))
    begun.sort(key=lambda one: one[1])
    hopeful = [p for p, cost in begun[:FINISHED] if cost <= HOPEFUL * begun[0][1]]
    return min((problem.solve(p) for p in hopeful), key=lambda one: one[1])[0]


def counted(problem: fit.Fit) -> list[int]:
    """How many fuel cuts, ends of cuts, steps of target lambda and falls after cuts are fitted."""
    return [int(np.count_nonzero(problem.cut.kind == kind)) for kind in range(4)]


def with_uncertainty(answer: forms.Formed, given: cues.Inputs, fallback: Transport) -> tuple[Transport, bool]:
    """(model with uncertainties, whether the events show the lag) of a fit; the fallback's lag if they don't."""
    problem, p = answer.problem, answer.p
    cov = problem.covariance(p)
    _, ends, steps, tails = counted(problem)
    plain = problem.model(p)
    u = np.sqrt(np.diag(cov))
    constant_floor_s, volume_floor, tau_floor = FLOOR.get(given.zero, APPARENT_FLOOR)
    enough = True
    if ends + tails < LEAST_RECOVERIES:
        enough = given.zero.is_injection or steps >= LEAST_STEPS_APPARENT
        tau_floor = float(np.hypot(tau_floor, STEPS_ALONE if given.zero.is_injection else STEPS_ALONE_APPARENT))
    tau_u_s = plain.tau_s * forms.lag_u(answer, float(u[fit.TAU]), tau_floor)
    constant_u_s = float(np.sqrt(u[fit.CONSTANT] ** 2 + constant_floor_s**2 + answer.u[fit.CONSTANT] ** 2))
    volume_u = float(np.sqrt(u[fit.VOLUME] ** 2 + volume_floor**2 + answer.u[fit.VOLUME] ** 2))
    lag_shown = enough and tau_u_s <= MOST_TAU_U * plain.tau_s
    if not lag_shown:
        plain = replace(plain, tau_s=fallback.tau_s, lag_known=fallback.lag_known)
        tau_u_s = fallback.tau_u_s
    model = replace(
        plain,
        constant_u_s=constant_u_s,
        volume_u_l=plain.volume_l * volume_u,
        correlation=float(cov[fit.VOLUME, fit.CONSTANT] / (volume_u * constant_u_s)),
        tau_u_s=tau_u_s,
        kind="transport" if given.zero.is_injection else "apparent, an estimate",
    )
    return model, lag_shown
