"""Student's t, F, Welch and Holm against scipy and statsmodels on the same data."""

import numpy as np
import pytest

from ringpull.analysis.cells import stats

scipy_stats = pytest.importorskip("scipy.stats", reason="scipy is the reference for the distributions")


@pytest.mark.parametrize("dof", [1, 2, 3.7, 4, 11.2, 60, 4000])
@pytest.mark.parametrize("p", [0.6, 0.9, 0.975, 0.995, 0.9999])
def test_t_quantile(p, dof):
    assert stats.t_quantile(p, dof) == pytest.approx(scipy_stats.t.ppf(p, dof), rel=1e-9)


@pytest.mark.parametrize("t, dof", [(0.0, 3), (1.5, 2.5), (-4.0, 7), (30.0, 4)])
def test_t_chance(t, dof):
    assert stats.t_two_sided(t, dof) == pytest.approx(2 * scipy_stats.t.sf(abs(t), dof), rel=1e-9)


@pytest.mark.parametrize("f, d1, d2", [(0.3, 4, 9), (2.2, 4, 30), (11.0, 2, 6.5)])
def test_f_chance(f, d1, d2):
    assert stats.f_above(f, d1, d2) == pytest.approx(scipy_stats.f.sf(f, d1, d2), rel=1e-9)


def test_welch():
    random = np.random.default_rng(1)
    a, b = random.normal(0.82, 0.004, 5), random.normal(0.83, 0.011, 4)
    difference, error, dof, chance = stats.welch(a, b)
    theirs = scipy_stats.ttest_ind(b, a, equal_var=False)
    assert chance == pytest.approx(theirs.pvalue, rel=1e-9) and dof == pytest.approx(theirs.df, rel=1e-9)
    assert difference / error == pytest.approx(theirs.statistic, rel=1e-9)


def test_holm_by_hand():
    # ascending 0.005 < 0.05/4, 0.01 < 0.05/3, 0.03 > 0.05/2: there it ends (Holm 1979, the step-down rule)
    assert stats.holm(np.array([0.01, 0.04, 0.03, 0.005])).tolist() == [True, False, False, True]
    assert stats.holm(np.array([0.02, 0.02])).tolist() == [True, True]


@pytest.mark.slow  # the import alone takes as long as a hundred other tests
def test_holm():
    multitest = pytest.importorskip("statsmodels.stats.multitest", reason="statsmodels is the reference for Holm")
    random = np.random.default_rng(2)
    for _ in range(50):
        chances = random.uniform(0, 1, 12) ** 4
        assert stats.holm(chances).tolist() == multitest.multipletests(chances, 0.05, method="holm")[0].tolist()


def test_interval_of_a_mean():
    # five measurements against a target of 0.820: ratio 1.034634, 95 % 1.02717..1.04210 (computed with scipy's t)
    values = np.array([0.842, 0.851, 0.848, 0.855, 0.846]) / 0.820
    mean, half = stats.mean_interval(values)
    assert mean == pytest.approx(1.034634, abs=1e-6)
    assert (mean - half, mean + half) == pytest.approx((1.02717, 1.04210), abs=1e-5)
    error = values.std(ddof=1) / np.sqrt(5)
    low, high = scipy_stats.t.interval(0.95, 4, loc=values.mean(), scale=error)
    assert (mean - half, mean + half) == pytest.approx((low, high), rel=1e-9)
