"""Exhaust volume, constant delay and sensor lag from the drive's own events, with uncertainty.

First order plus delay, fitted by least squares to all events at once: what was injected is carried through crank angle
and exhaust volume to the sensor, lagged, and compared with what was measured. Samples at the end of the sensor's range
are censored: only a model on the wrong side of them counts. Uncertainty comes from the scatter between events; the
fit's own covariance is several times too small here.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ringpull.analysis.delay import cues, fit, transport
from ringpull.analysis.delay.transport import Transport
from ringpull.analysis.drive_state.columns import Columns

LEAST_EVENTS = 3
LEAST_RECOVERIES = 2  # ends of cuts and tails, without which the fall of lambda doesn't tell the lag
MOST_TAU_U = 0.30
MOST_DELAY_U_S = 0.030  # a delay less certain than this is called not identifiable
STARTS = (0.5, 1.3, 3.2)  # exhaust volumes to begin from, in displacements
CUT_STARTS_S = (0.05, 0.20, 0.35)  # and latencies of the cut, where it is not logged: a wrong one holds the fit fast
FINISHED = 2  # of the starts, the best of which are fitted to the end
HOPEFUL = 2.0  # unless their sum of squares is more times the best one's
# What the model itself may be wrong by (gas temperature, efficiency, film), whatever the fit says: constant delay in
# seconds, and shares of volume and lag; more where the throttle is time zero
APPARENT_FLOOR = (0.010, 0.12, 0.14)
FLOOR = (0.004, 0.06, 0.08)


@dataclass(frozen=True)
class Identified:
    """model: delay and lag to move lambda by, with uncertainty. events: how many with a time were used.

    done: False where the fallback stands. words: what was done, or why nothing was. bound: where the throttle is time
    zero, the apparent delay that was found, an upper bound that moves nothing; else None. cut_latency_s: from closing
    the throttle to the cut, if fitted.
    """

    model: Transport
    events: int
    done: bool
    words: str
    bound: Transport | None = None
    cut_latency_s: float | None = None


def identify(columns: Columns, fallback: Transport | None = None) -> Identified:
    """Delay and lag of a session from its own events, or the fallback with the reason why not."""
    fallback = transport.default(columns.config) if fallback is None else fallback

    def not_identifiable(reason: str, count: int = 0) -> Identified:
        words = f"not identifiable from this drive ({reason}); {fallback.source}"
        return Identified(replace(fallback, source=words), count, False, words)

    if columns.map_kpa is None or not np.isfinite(columns.map_kpa).any():
        return not_identifiable("no manifold pressure, so no flow")
    if not np.isfinite(columns.lambda_).any() or not np.isfinite(columns.rpm).any():
        return not_identifiable("no lambda or no engine speed")
    given = cues.inputs(columns)
    found = cues.find(columns, given)
    timed = len(found.cut_on) + len(found.cut_off) + len(found.steps)
    if timed < LEAST_EVENTS:
        return not_identifiable(f"{timed} usable events, {LEAST_EVENTS} needed", timed)
    displacement_l = columns.config.get("engine", {}).get("displacement_cc", transport.DISPLACEMENT_CC) / 1000.0
    problem = fit.Fit(columns, given, transport.flow(columns), fit.cut_windows(columns, found), displacement_l)
    p = best(problem, given.cut_known)
    if problem.leave_out(p):
        p, _ = problem.solve(p)
    model, words = describe(problem, p, given, fallback)
    used = timed + len(found.tails)
    if not given.zero.is_injection:
        words += "; so the delay found is an upper bound and moves nothing: the delay that is undone has "
        words += transport.volume_of(columns.config)[2]
    if found.seen > used:
        words += f"; of {found.seen} events at most {cues.MOST_EVENTS} of each kind, spread over the drive, were used"
    pull_flow = float(np.percentile(problem.flow.litres_per_s, 95))
    if model.delay_u_s(pull_flow) > MOST_DELAY_U_S:
        return not_identifiable(f"its {timed} events leave the delay uncertain", timed)
    latency = None if given.cut_known else float(p[fit.CUT_LATENCY])
    if given.zero.is_injection:
        return Identified(replace(model, source=words), timed, True, words, None, latency)
    moved = replace(fallback, tau_s=model.tau_s, tau_u_s=model.tau_u_s, lag_known=model.lag_known, source=words)
    return Identified(moved, timed, True, words, replace(model, source=words), latency)


def best(problem: fit.Fit, cut_known: bool) -> np.ndarray:
    """Parameters of the least sum of squares from several starts."""
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


def describe(problem: fit.Fit, p: np.ndarray, given: cues.Inputs, fallback: Transport) -> tuple[Transport, str]:
    """(model with uncertainties, how it was found in words) of a fit's parameters; the lag is the fallback's where the
    events don't tell it."""
    cov = problem.covariance(p)
    kinds = problem.cut.kind
    cuts, ends, steps, tails = (int(np.count_nonzero(kinds == k)) for k in range(4))
    plain = problem.model(p)
    u = np.sqrt(np.diag(cov))
    constant_floor_s, volume_floor, tau_floor = FLOOR if given.zero.is_injection else APPARENT_FLOOR
    tau_u_s = float(plain.tau_s * np.hypot(u[fit.TAU], tau_floor))
    constant_u_s = float(np.hypot(u[fit.CONSTANT], constant_floor_s))
    volume_u = float(np.hypot(u[fit.VOLUME], volume_floor))
    counted = (
        (cuts, "fuel cut", "fuel cuts"),
        (ends, "end of a cut", "ends of cuts"),
        (steps, "step of wanted lambda", "steps of wanted lambda"),
        (tails, "tail", "tails"),
    )
    told = [f"{count} {one if count == 1 else many}" for count, one, many in counted]
    words = f"identified from {', '.join(told[:-1])} and {told[-1]}; time zero is {given.zero.value}"
    if ends + tails < LEAST_RECOVERIES or tau_u_s > MOST_TAU_U * plain.tau_s:
        words += f"; too few cut recoveries for the lag: {fallback.tau_s * 1000:.0f} ms as configured or assumed"
        plain = replace(plain, tau_s=fallback.tau_s, lag_known=fallback.lag_known)
        tau_u_s = fallback.tau_u_s
    model = replace(
        plain,
        constant_u_s=constant_u_s,
        volume_u_l=plain.volume_l * volume_u,
        correlation=float(cov[fit.VOLUME, fit.CONSTANT] / (volume_u * constant_u_s)),
        tau_u_s=tau_u_s,
        kind="transport" if given.zero.is_injection else "apparent, an upper bound",
    )
    return model, words
