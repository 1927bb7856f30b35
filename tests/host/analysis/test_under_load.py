"""Under load: by throttle or by pressure, whatever the one of them tells falsely."""

import numpy as np
import pytest
from analysis_scenes import CONFIG, Hole, StandInDrive, StandInSession, assumed, scene

from ringpull.analysis.answer import answer
from ringpull.analysis.drive_state import overrun, under_load
from ringpull.analysis.drive_state.columns import Columns
from ringpull.analysis.find_pulls import found_spans
from ringpull.analysis.judge import verdict
from ringpull.files import configuration
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


def test_of_an_engine_without_vacuum_a_charger_s_pressure_tells_load():
    """Cruise at the pressure of the air around is none; the pull at 150 kPa and more is, found without a mark."""
    made = scene(hole=HOLE)
    columns = made.columns
    columns.throttle = None
    columns.named.pop("throttle")
    columns.map_kpa[:] = np.maximum(columns.map_kpa, 100.0)
    columns.rpm[: 4 * 200] = 900.0
    loaded, rule = under_load.high(columns)
    assert rule.no_vacuum and rule.full_kpa == 150.0 and "only boost pressure shows load" in load_rule(rule)
    assert not loaded[columns.map_kpa < 140.0].any() and loaded[columns.map_kpa > 155.0].mean() > 0.97
    result = judged(made, marked=False)
    assert len(result.pulls) == 3 and [len(p.lean_events) for p in result.pulls] == [0, 1, 0]


def slow_pull(rpm_per_s, seconds, lean_s=0.0):
    """Ten seconds at part load, then full load while engine speed rises slowly, then part load again; lambda on target
    but for the last `lean_s` of it."""
    period = 1.0 / CONFIG["rate_hz"]
    time_s = np.arange(0.0, 20.0 + seconds, period)
    full = (time_s >= 10.0) & (time_s < 10.0 + seconds)
    rpm = 2000.0 + rpm_per_s * np.clip(time_s - 10.0, 0.0, seconds)
    kpa = np.where(full, 97.0, 45.0)
    value = np.interp(kpa, CONFIG["target"]["load_kpa"], CONFIG["target"]["lambda"])
    late = time_s - 0.1  # pipe and sensor, roughly
    value[(late >= 10.0 + seconds - lean_s) & (late < 10.0 + seconds)] += 0.15
    value += np.random.default_rng(4).normal(0, 0.002, len(time_s))
    columns = Columns(time_s, value, rpm, kpa, np.where(full, 38.0, 12.0))
    columns.config = configuration.of(CONFIG)
    columns.banks = {"lambda_1": columns.lambda_}
    columns.named = {"lambda_1": columns.lambda_, "engine_speed": rpm, "map": kpa, "throttle": columns.throttle}
    return columns


def test_a_slow_rise_under_full_load_is_a_pull():
    """70 rpm a second over eight: in traffic engines gain speed no faster."""
    spans = found_spans(slow_pull(70.0, 8.0))
    assert len(spans.pulls) == 1 and spans.held == []
    assert spans.pulls[0] == pytest.approx((10.0, 18.0), abs=0.3)


def test_full_load_at_steady_speed_is_a_pull_only_where_it_is_lean():
    still = slow_pull(5.0, 6.0)
    spans = found_spans(still)
    assert spans.pulls == [] and spans.held[0] == pytest.approx((10.0, 16.0), abs=0.3)
    assert answer(StandInDrive(StandInSession(still, []))).pulls == []
    result = answer(StandInDrive(StandInSession(slow_pull(5.0, 6.0, lean_s=1.5), [])))
    assert len(result.pulls) == 1 and result.verdict == verdict.ATTENTION


def test_a_gear_change_and_a_stumble_in_a_rise():
    """A fall for longer than JOIN_S ends a pull, a shorter one does not."""
    for fall_s, pulls in ((0.3, 1), (1.0, 2)):
        columns = slow_pull(300.0, 8.0)
        rows = columns.rows(14.0, 14.0 + fall_s)
        columns.rpm[rows] -= np.linspace(0.0, 250.0 * fall_s / 0.3, rows.stop - rows.start)
        if fall_s > 0.4:
            columns.rpm[rows.stop :] -= 250.0 * fall_s / 0.3
        assert len(found_spans(columns).pulls) == pulls, fall_s


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
