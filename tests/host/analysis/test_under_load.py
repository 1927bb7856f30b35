"""Under load: by throttle or by pressure, whatever the one of them tells falsely."""

import numpy as np
import pytest
from analysis_scenes import CONFIG, Hole, StandInDrive, StandInSession, assumed, scene

from ringpull.analysis.answer import answer
from ringpull.analysis.drive_state import overrun, under_load
from ringpull.analysis.judge import verdict
from ringpull.analysis.pulls import found_spans
from ringpull.wording.assumed import load_rule

HOLE = Hole(2, 4500, 4900, 0.08)


def judged(made, marked=True):
    marks = [(a, b, False) for a, b in made.spans] if marked else []
    return answer(StandInDrive(StandInSession(made.columns, marks)))


def opened_to(made, pct):
    """The same drive with a throttle that goes no further than `pct`, but once, long before, when nothing happened."""
    columns = made.columns
    columns.throttle[:] = np.minimum(columns.throttle, pct)
    columns.throttle[columns.rows(1.0, 1.3)] = 70.0
    return made


@pytest.mark.parametrize("marked", [True, False])
@pytest.mark.parametrize("pct", [52.0, 38.0])
def test_full_load_at_part_throttle_is_judged(marked, pct):
    result = judged(opened_to(scene(hole=HOLE), pct), marked)
    assert result.verdict == verdict.ATTENTION and [len(p.lean_events) for p in result.pulls] == [0, 1, 0]
    assert all(p.loaded_s > 4.5 for p in result.pulls)


def test_full_manifold_without_boost_at_part_throttle_is_load():
    made = opened_to(scene(hole=HOLE), 38.0)
    made.columns.map_kpa[:] = np.minimum(made.columns.map_kpa, 97.0)
    made.columns.named["map"][:] = made.columns.map_kpa
    assert len(found_spans(made.columns).pulls) == 3


@pytest.mark.parametrize("rest", [83.0, 100.0])
def test_a_throttle_that_rests_open_makes_no_overrun_of_a_pull(rest):
    made = scene(hole=HOLE)
    columns = made.columns
    columns.throttle[:] = rest + (100.0 - rest) / 100.0 * columns.throttle
    columns.rpm[: 4 * 200] = 900.0  # it idled first
    result = judged(made)
    assert not overrun.throttle_tells(columns) and result.verdict == verdict.ATTENTION
    assert max(p.left_out.get("overrun_cut", 0.0) for p in result.pulls) < 1.0
    assert any("under load: manifold pressure at least" in line for line in assumed(result))


def traffic(vacuum, throttle):
    """Stop and go in closed loop: lambda 1, the manifold at the pressure of the air around unless it makes a vacuum."""
    made = scene(pulls=4, config=CONFIG)
    columns = made.columns
    columns.rpm[: 5 * 200] = 900.0
    columns.lambda_[:] = 1.0 + np.random.default_rng(3).normal(0, 0.003, len(columns))
    if not vacuum:
        columns.map_kpa[:] = np.maximum(columns.map_kpa, 98.0)
        columns.map_kpa[:] = np.minimum(columns.map_kpa, 100.0)
    if not throttle:
        columns.throttle = None
        columns.named.pop("throttle")
    return made


def test_an_engine_that_makes_no_vacuum_tells_no_load_by_pressure():
    made = traffic(vacuum=False, throttle=False)
    assert under_load.makes_no_vacuum(made.columns, under_load.full_kpa(made.columns))
    result = judged(made, marked=False)
    assert result.pulls == [] and result.verdict == verdict.NOT_ENOUGH
    _, rule = under_load.under_load(made.columns)
    assert rule.no_vacuum and "makes no vacuum" in load_rule(rule)
    assert not under_load.makes_no_vacuum(scene().columns, under_load.full_kpa(scene().columns))


def test_a_throttle_still_tells_load_where_pressure_does_not():
    made = traffic(vacuum=False, throttle=True)
    made.columns.throttle[: 5 * 200] = 0.0
    loaded, rule = under_load.under_load(made.columns)
    assert rule.no_vacuum and rule.full_kpa is None and rule.throttle_pct == 60.0
    assert loaded.any() and not loaded[made.columns.throttle < 50].any()


def test_thin_air_lowers_the_pressure_of_full_load():
    made = scene(pulls=1)
    columns = made.columns
    columns.throttle = None
    columns.rpm[:200], columns.map_kpa[:200] = 0.0, 75.0
    assert under_load.full_kpa(columns).max() == pytest.approx(63.0, abs=1.0)  # 85 % of 75
    columns.extra["ambient"] = np.full(len(columns), 90.0)
    assert under_load.full_kpa(columns).max() == pytest.approx(76.0, abs=1.0)


def test_boost_that_outlasts_the_throttle_is_no_load():
    made = scene(pulls=1)
    (_, end), columns = made.spans[0], made.columns
    columns.map_kpa[columns.rows(end, end + 0.5)] = 150.0
    assert not under_load.under_load(columns)[0][columns.rows(end + 0.1, end + 0.5)].any()
