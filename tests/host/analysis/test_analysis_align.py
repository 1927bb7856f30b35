"""Transport delay and lag: against worked examples, and undone on drives with a known truth."""

from dataclasses import replace

import numpy as np
import pytest
from analysis_scenes import CONFIG, Hole, charge_arrivals, scene

from ringpull.analysis import local
from ringpull.analysis.delay import transport
from ringpull.analysis.delay.align import align, noise_gain, undo_lag
from ringpull.analysis.delay.transport import Transport
from ringpull.analysis.drive_state.columns import Columns
from ringpull.analysis.judge.session import judge_span, prepare
from ringpull.files import configuration
from ringpull.files.configuration import Configuration, Engine, Vehicle
from ringpull.wording import delay


def test_air_flow_worked_example():
    # 1.998 l, VE 0.95, 100 kPa, 303.15 K, 6000 rpm: speed-density, R 287.05 J/kgK (Heywood, Internal Combustion Engine
    # Fundamentals, 2.10)
    flow = transport.air_flow_g_s(6000.0, 100.0, 1998.0, ve=0.95, intake_k=303.15)
    assert flow == pytest.approx(109.062, abs=0.001)


def test_pipe_delay_worked_example():
    # 1.9635 l of exhaust at 1100 K and 110 kPa behind that flow, R 300.95 at lambda 0.85 (cantera): 5.54 and 13.05 ms
    density = transport.exhaust_density_g_l(1100.0, 110.0)
    fast = transport.exhaust_flow_g_s(transport.air_flow_g_s(6000.0, 100.0, 1998.0, ve=0.95, intake_k=303.15))
    assert 1.9635 * density / fast * 1000 == pytest.approx(5.54, abs=0.01)


def test_cycle_part_is_90_over_rpm():
    # 540 crank degrees are 90 / rpm seconds
    model = Transport(constant_s=0.0, volume_l=0.0)
    assert model.delay_s(6000.0, 10.0) == pytest.approx(90.0 / 6000.0)


def test_two_strokes_have_the_same_course_in_half_of_the_turns():
    # intake to exhaust takes 1.5 of the turns of a four-stroke's two, so 0.75 of a two-stroke's one: 45 / rpm seconds;
    # and each turn draws in air, so that the flow is twice a four-stroke's (two-stroke: one filling a turn)
    texts = [{**CONFIG, "engine": {**CONFIG["engine"], "strokes": strokes}} for strokes in (2, 4)]
    two, four = map(configuration.of, texts)
    model = replace(transport.default(two), constant_s=0.0, volume_l=0.0)
    assert model.delay_s(6000.0, 10.0) == pytest.approx(45.0 / 6000.0)
    flows = [transport.mass_flow_g_s(config, 6000.0, 95.0) for config in (two, four)]
    assert flows[0] == pytest.approx(2.0 * flows[1])
    # charges followed one by one through the crank and the pipe of a pull
    columns = scene(pulls=1, config=texts[0]).columns
    model, flow = replace(transport.default(two), constant_s=0.012), transport.flow(columns)
    arrivals = charge_arrivals(columns.time_s, columns.rpm, flow.litres_per_s, 0.012, 270.0, model.volume_l)
    there = np.isfinite(arrivals)
    assert np.abs(transport.arrival_s(model, flow) - arrivals)[there].max() < 0.0005


@pytest.mark.parametrize("share, taus", [(0.5, 0.69315), (0.9, 2.30259), (1 - np.exp(-1), 1.0)])
def test_lag_of_a_step_is_undone(share, taus):
    # a first-order response reaches 50, 63 and 90 % after 0.69315, 1 and 2.30259 tau (closed form of 1 - exp(-t / tau))
    tau_s, period_s = 0.08, 0.001
    time_s = np.arange(-500, 1000) * period_s
    step = np.where(time_s >= 0, 1 - np.exp(-np.maximum(time_s, 0) / tau_s), 0.0)
    at = time_s[np.argmax(step >= share)]
    assert at == pytest.approx(taus * tau_s, abs=period_s)
    undone = undo_lag(step, tau_s, period_s)
    assert time_s[np.nanargmax(undone >= 0.5)] == pytest.approx(0.0, abs=0.004)
    assert np.nanmean(undone[700:1200]) == pytest.approx(1.0, abs=2e-4)


def test_stated_noise_gain_is_the_noise_that_comes_out():
    random = np.random.default_rng(4)
    noise = random.normal(0.0, 0.003, 40_000)
    out = undo_lag(noise, 0.08, 0.005)
    assert np.nanstd(out) / 0.003 == pytest.approx(noise_gain(0.08, 0.005), rel=0.03)


def test_arrival_and_injection_are_inverses():
    made = scene(pulls=1, rate_rpm_s=3000.0)
    flow = transport.flow(made.columns)
    model = Transport(constant_s=0.02, volume_l=2.5)
    arrival = transport.arrival_s(model, flow)
    back = transport.injection_s(model, flow, arrival)
    assert np.abs(back - made.columns.time_s).max() < 1e-9
    assert (np.diff(arrival) > 0).all()


@pytest.mark.parametrize("rate_rpm_s", [400.0, 1500.0, 3000.0])
def test_hole_comes_back_to_its_speed_and_depth(rate_rpm_s):
    made = scene(pulls=1, hole=Hole(1, 4200, 4900, 0.06), rate_rpm_s=rate_rpm_s, noise=0.0)
    model = Transport(constant_s=0.012, volume_l=1.8, tau_s=0.08)
    out = align(made.columns, model)
    start, end = made.spans[0]
    rows = made.columns.rows(start + 0.85, end - 0.15)
    wrong = np.abs(out.lambda_[rows] - made.true_lambda[rows])
    # a window of 0.6 lags rounds the hole's corners off, nothing else
    assert np.mean(wrong) < 0.004
    assert np.median(wrong) < 0.0015
    raw = np.abs(made.columns.lambda_[rows] - made.true_lambda[rows])
    assert np.mean(raw) > 3 * np.mean(wrong)


def test_missing_rows_are_not_bridged():
    values = np.sin(np.arange(400) / 40.0)
    values[100:140] = np.nan
    value, slope, _ = local.line(values, 0.005, 6)
    assert np.isnan(value[106:134]).all() and np.isnan(slope[106:134]).all()
    # beside the gap the one-sided rest is refused rather than extrapolated
    assert np.isnan(value[101])
    assert np.isfinite(value[90])


def test_defaults_say_what_was_assumed():
    bare = {"engine": {"cylinders": 4, "displacement_cc": 1998}, "channels": [{"name": "l", "kind": "lambda"}]}
    model = transport.default(configuration.of(bare))
    assert "assumed" in delay.source(model.source) and model.volume_l == pytest.approx(1.998)
    given = transport.default(configuration.of(CONFIG))
    assert given.volume_l == 1.8 and given.tau_s == pytest.approx(0.08) and given.volume_u_l < model.volume_u_l


def test_an_assumed_lag_is_not_undone():
    """A clean step seen through a quick sensor stays a step: undoing a lag that is not there would overshoot it."""
    period_s = 0.005
    time_s = np.arange(0, 20, period_s)
    step = np.where((time_s > 8) & (time_s < 12), 0.92, 0.80)
    config = {"channels": [{"name": "lambda_1", "kind": "lambda"}], "engine": {"displacement_cc": 1600}, "rate_hz": 200}
    flat = np.full(len(time_s), 4000.0)
    for tau_ms, overshoots in ((None, False), (80, True)):
        channel = dict(config["channels"][0], **({} if tau_ms is None else {"tau_ms": tau_ms}))
        columns = Columns(
            time_s, step, flat, flat / 40, flat / 40, {}, configuration.of(dict(config, channels=[channel]))
        )
        moved = align(columns).lambda_
        inside = np.isfinite(moved)
        assert (np.nanmax(moved[inside]) > 0.93) == overshoots
        assert np.nanmean(moved[(time_s > 9) & (time_s < 11)]) == pytest.approx(0.92, abs=1e-6)


def test_what_was_measured_after_the_pull_is_not_its_end():
    """Where the delay is only assumed, and too long, the lean air after the throttle closed is no lean event."""
    period_s = 0.005
    time_s = np.arange(0, 40, period_s)
    pulling = (time_s >= 20) & (time_s < 28)
    columns = Columns(
        time_s,
        np.where(pulling, 0.80, 1.0),
        np.interp(time_s, [0, 20, 28, 34], [2500.0, 2500.0, 6500.0, 2500.0]),
        np.where(pulling, 190.0, 40.0),
        np.where(pulling, 95.0, 5.0),
        {},
        configuration.of(
            {"channels": [{"name": "lambda_1", "kind": "lambda"}], "rate_hz": 200}
            | {"engine": {"displacement_cc": 1600}}
        ),
    )
    answer = judge_span(prepare(columns), 20.0, 28.0)
    assert answer.lean_events == [] and answer.judged_s > 5


@pytest.mark.parametrize("rows", [1, 5, 41, 200])
@pytest.mark.parametrize("half", [1, 3, 20])
def test_a_line_through_rows_that_are_all_there_is_least_squares_up_to_the_ends(rows, half):
    """Against numpy's polyfit row by row."""
    values = np.random.default_rng(3).normal(0, 1, rows)
    value, slope, count = local.line(values, 0.01, half)
    for row in range(rows):
        at = np.arange(max(0, row - half), min(rows, row + half + 1))
        assert count[row] == len(at)
        if np.isfinite(value[row]):
            told_slope, told = np.polyfit((at - row) * 0.01, values[at], 1)
            assert value[row] == pytest.approx(told) and slope[row] == pytest.approx(told_slope)
    full = slice(half, rows - half)
    assert np.isfinite(value[full]).all()


def test_uncertainties_that_go_with_what_was_configured_and_what_is_assumed():
    # a configured volume or lag is good to a fifth; the engine's displacement is the pipe's volume to two fifths
    assert transport.volume_of(Configuration(vehicle=Vehicle(exhaust_l=1.8))) == (1.8, pytest.approx(0.36))
    assert transport.volume_of(Configuration(engine=Engine(displacement_cc=1600))) == (1.6, pytest.approx(0.64))
    assert transport.volume_of(Configuration()) == (2.0, pytest.approx(0.8))
    sensor = {"name": "lambda_1", "kind": "lambda"}
    assert transport.lag_of(configuration.of({"channels": [{**sensor, "tau_ms": 60}]})) == (0.06, pytest.approx(0.012))
    assert transport.lag_of(configuration.of({"channels": [sensor]})) == (0.08, 0.03)
    # 0.36 l at 12 l/s is 30 ms, beside 10 ms of the constant part: root of 0.03 squared and 0.01 squared
    model = transport.default(Configuration(vehicle=Vehicle(exhaust_l=1.8)))
    assert model.delay_u_s(12.0) == pytest.approx(0.0316228, rel=1e-5)
