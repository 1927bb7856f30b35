"""The form of the sensor's lag: of lambda, as a slow output has it, or of 1/lambda, as gas that mixes has it.

Both are fitted. Where the events fit one of them clearly better, that one counts; where they do not tell, the answer
lies between, and what the two differ by belongs to its uncertainty.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ringpull.analysis.delay import fit
from ringpull.analysis.delay.fit import Fit

CLEARLY = 0.6  # a sum of squares that is larger by this share leaves nothing to its form
LEAST_KNOWN = 60.0  # of a kind of events, to ask it for a lag of its own (1 / variance of the lag's logarithm)
WIDEN = 1.5  # times the root mean square of what the kinds disagree by


@dataclass(frozen=True)
class Formed:
    """p: parameters. problem: the fit in the form that the events prefer. u: standard deviation of what the form leaves
    open, of each parameter."""

    p: np.ndarray
    problem: Fit
    u: np.ndarray


def formed(problem: Fit, p: np.ndarray) -> Formed:
    """The answer of both forms. p: of a fit of lag in lambda."""
    mixing = problem.mixing_form()
    q, _ = mixing.solve(p)
    costs = [float(np.sum(one.residuals(at) ** 2)) for one, at in ((problem, p), (mixing, q))]
    answers = [(problem, p), (mixing, q)]
    better = int(costs[1] < costs[0])
    share = 0.5 * max(0.0, 1.0 - (max(costs) / min(costs) - 1.0) / CLEARLY)  # that is left to the other form
    (kept, best), (_, other) = answers[better], answers[1 - better]
    return Formed((1.0 - share) * best + share * other, kept, np.abs(best - other) * np.sqrt(share * (1.0 - share)))


def disagreement(problem: Fit, p: np.ndarray) -> float:
    """Standard uncertainty of the lag's logarithm from how far the kinds of events pull it apart."""
    moves, known = problem.lags_by_kind(p)
    told = moves[known > LEAST_KNOWN]
    return WIDEN * float(np.sqrt(np.mean(told**2))) if len(told) > 1 else 0.0


def lag_u(formed: Formed, own_u: float, floor: float) -> float:
    """Standard uncertainty of the lag's logarithm: the fit's own, of the model, of its form, and of kinds of events
    that disagree."""
    parts = (own_u, floor, formed.u[fit.TAU], disagreement(formed.problem, formed.p))
    return float(np.sqrt(sum(part**2 for part in parts)))
