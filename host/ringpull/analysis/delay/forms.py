"""The form of the sensor's lag: a lag of lambda (a slow output) or of 1/lambda (gas that mixes).

Both are fitted. If the events fit one form clearly better, it is used; if not, the result lies between them and their
difference is part of its uncertainty.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ringpull.analysis.delay import fit
from ringpull.analysis.delay.fit import Fit

CLEARLY = 0.6  # a form whose sum of squares is larger by this share gets no weight
LEAST_KNOWN = 60.0  # information a kind of event needs to give a lag of its own (1 / variance of the lag's logarithm)
WIDEN = 1.5  # factor on the root mean square of the disagreement between kinds


@dataclass(frozen=True)
class Formed:
    """p: parameters. problem: the fit in the form that the events prefer. u: standard uncertainty of each parameter
    from the choice of form."""

    p: np.ndarray
    problem: Fit
    u: np.ndarray


def formed(problem: Fit, p: np.ndarray) -> Formed:
    """The combined result of both forms. p: parameters of a fit with a lag of lambda."""
    mixing = problem.mixing_form()
    q, _ = mixing.solve(p)
    costs = [float(np.sum(one.residuals(at) ** 2)) for one, at in ((problem, p), (mixing, q))]
    answers = [(problem, p), (mixing, q)]
    better = int(costs[1] < costs[0])
    share = 0.5 * max(0.0, 1.0 - (max(costs) / min(costs) - 1.0) / CLEARLY)  # weight of the other form
    (kept, best), (_, other) = answers[better], answers[1 - better]
    return Formed((1.0 - share) * best + share * other, kept, np.abs(best - other) * np.sqrt(share * (1.0 - share)))


def disagreement(problem: Fit, p: np.ndarray) -> float:
    """Standard uncertainty of the lag's logarithm from the disagreement between the kinds of events."""
    moves, known = problem.lags_by_kind(p)
    told = moves[known > LEAST_KNOWN]
    return WIDEN * float(np.sqrt(np.mean(told**2))) if len(told) > 1 else 0.0


def lag_u(formed: Formed, own_u: float, floor: float) -> float:
    """Standard uncertainty of the lag's logarithm: of the fit, the model, its form, and disagreeing kinds of events."""
    parts = (own_u, floor, formed.u[fit.TAU], disagreement(formed.problem, formed.p))
    return float(np.sqrt(sum(part**2 for part in parts)))
