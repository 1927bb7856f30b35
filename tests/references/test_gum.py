"""Combined standard uncertainty and effective degrees of freedom against a published example."""

import math

import pytest

from ringpull.analysis.cells import stats
from ringpull.analysis.judge.uncertainty import Budget, Part


def test_end_gauge_of_the_gum():
    # JCGM 100:2008, annex H.1 (calibration of an end gauge), table H.1: contributions in nm with degrees of freedom
    parts = {"standard": (25.0, 18), "difference": (9.7, 25.6), "expansion": (2.9, 50), "temperature": (16.6, 2)}
    budget = Budget([Part(name, u, "systematic", "table H.1") for name, (u, _) in parts.items()])
    assert budget.systematic == pytest.approx(32.0, abs=0.5)  # printed: u_c = 32 nm
    variance, dof = stats.satterthwaite([(u * u, v) for u, v in parts.values()])
    assert math.sqrt(variance) == pytest.approx(budget.systematic)
    # printed: effective degrees of freedom 16, after cutting to a whole number; t for 99 % is 2.92, U = 93 nm
    assert int(dof) == 16
    assert stats.t_quantile(0.995, 16.0) == pytest.approx(2.92, abs=0.005)
    assert stats.t_quantile(0.995, 16.0) * 32.0 == pytest.approx(93.0, abs=0.6)


def test_difference_of_the_end_gauge():
    # the same example, H.1.3.2: comparison 5.8 nm (24), comparator random 3.9 (5) and systematic 6.7 (8): 9.7 nm, 25.6
    variance, dof = stats.satterthwaite([(5.8**2, 24), (3.9**2, 5), (6.7**2, 8)])
    assert math.sqrt(variance) == pytest.approx(9.7, abs=0.05) and dof == pytest.approx(25.6, abs=0.3)
