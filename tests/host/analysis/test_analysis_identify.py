"""Delay and lag from a drive's own events, on a few of the random drives; the full count is a bench."""

import copy

import numpy as np
import pytest
from analysis_scenes import lagged, rewriting, scene
from truth.drives import Settings, make_drive

from ringpull.analysis import answer, answer_json
from ringpull.analysis.delay import cues, fit, forms, identify, transport
from ringpull.analysis.drive_state.columns import from_table
from ringpull.analysis.judge import session
from ringpull.files import configuration
from ringpull.wording import delay
from ringpull.wording.assumed import assumption


def said(found):
    """Where delay and lag come from, as people read it."""
    return delay.source(found.model.source)


def errors_of(seed, timing):
    """(error of the delay at pull flow in ms, of the lag in ms, Identified, Drive) of one random drive."""
    drive = make_drive(seed, settings=Settings(timing=timing))
    columns = from_table(drive.rows, configuration.of(drive.config))
    found = identify.identify(columns)
    model = found.estimate or found.model
    flow = transport.flow(columns)
    apart = transport.arrival_s(model, flow) - flow.time_s - drive.truth.delay_s
    rows = np.zeros(len(columns), bool)
    for pull in drive.pulls:
        rows[columns.rows((pull.start_s + pull.end_s) / 2, pull.end_s)] = True
    return 1e3 * apart[rows].mean(), 1e3 * (model.tau_s - drive.truth.tau_s), found, drive


@pytest.mark.parametrize("timing", ["injector", "command"])
@pytest.mark.parametrize(
    ("seeds", "least"), [((5,), 1), pytest.param(range(3, 11), 7, marks=pytest.mark.slow)], ids=["one", "eight"]
)
def test_delay_and_lag_with_a_known_time_zero(timing, seeds, least):
    results = [errors_of(seed, timing) for seed in seeds]
    near = [abs(delay) < 15.0 for delay, _, found, _ in results]
    assert sum(near) >= least
    assert all(found.estimate is None and "the delay is counted from" in said(found) for _, _, found, _ in results)
    lags = [
        abs(lag) < max(15.0, 200.0 * drive.truth.tau_s) for _, lag, _, drive in results if drive.truth.cuts_recovered
    ]
    assert np.mean(lags) >= 0.85


def test_throttle_alone_gives_an_estimate_that_moves_nothing():
    _, _, found, drive = errors_of(4, "none")
    assert found.estimate is not None and "is an estimate" in said(found) and found.estimate.kind.startswith("apparent")
    default = transport.default(configuration.of(drive.config))
    assert (found.model.volume_l, found.model.constant_s) == (default.volume_l, default.constant_s)
    assert found.cut_latency_s is not None


def test_without_throttle_time_zero_is_the_manifolds():
    drive = make_drive(4, settings=Settings(timing="none"))
    rows = {name: values for name, values in drive.rows.items() if name != "throttle_pct"}
    found = identify.identify(from_table(rows, configuration.of(drive.config)))
    assert (
        found.done
        and found.estimate is not None
        and "the delay is counted from manifold pressure; so the delay from these events" in said(found)
    )


def test_not_identifiable_is_said_and_the_default_kept():
    made = scene(pulls=1)
    made.columns.map_kpa = None
    found = identify.identify(made.columns)
    assert not found.done and "no manifold pressure" in said(found) and found.model.volume_l == 1.8
    made = scene(pulls=1)
    made.columns.lambda_[:] = 0.9
    made.columns.throttle[:], made.columns.map_kpa[:] = 20.0, 45.0
    found = identify.identify(made.columns)
    assert not found.done and "not identifiable" in said(found)


def test_an_engine_that_runs_lean_is_not_a_fuel_cut():
    made = scene(pulls=3)
    made.columns.lambda_ += 1.35 - made.columns.lambda_.mean()
    made.columns.lambda_[:] = np.clip(made.columns.lambda_, 1.32, 1.40)  # all along, and no cut on the overrun
    found = cues.find(made.columns, cues.inputs(made.columns))
    assert not found.cut_on and not found.tails
    assert not identify.identify(made.columns).done


def test_lag_is_not_read_from_three_openings_of_the_throttle():
    made = scene(pulls=3)  # no fuel cut at all: lambda stays near its target on overrun
    found = identify.identify(made.columns)
    assert found.model.source.steps == 3 and not found.model.source.lag_shown
    assert found.model.tau_s == pytest.approx(0.08)


def test_steps_of_the_target_show_the_lag_without_a_fuel_cut():
    drive = make_drive(27, settings=Settings(timing="injector"))
    found = identify.identify(from_table(drive.rows, configuration.of(drive.config)))
    source = found.model.source
    assert (source.cuts, source.ends, source.tails) == (0, 0, 0) and source.steps >= 3
    assert source.lag_shown and drive.truth.tau_s > 0.13  # and not the 80 ms of the configuration
    assert abs(found.model.tau_s - drive.truth.tau_s) < 1.96 * found.model.tau_u_s < 0.065


@pytest.mark.parametrize("seed", [40, 47])
def test_fuel_added_after_a_cut_does_not_shorten_the_lag(seed):
    """Without a part of its own in the fit it does, by a third."""
    drive = make_drive(seed, settings=Settings(kind="rich puff", timing="command"))
    found = identify.identify(from_table(drive.rows, configuration.of(drive.config)))
    assert abs(found.model.tau_s - drive.truth.tau_s) < 0.2 * drive.truth.tau_s


def two_pipes(seed, later_s=0.02, tau_s=0.14):
    """(Drive, columns) of a random drive with a second sensor further down the pipe, and slower."""
    drive = make_drive(seed, settings=Settings(timing="injector"))
    config, time_s = copy.deepcopy(drive.config), drive.rows["time_s"]
    first = next(c for c in config["channels"] if c["kind"] == "lambda")
    config["channels"].append({**first, "name": "lambda_2"})
    reaches = np.interp(time_s, time_s + drive.truth.delay_s + later_s, drive.truth.lambda_cylinder)
    second = lagged(reaches, tau_s, 0.005) + np.random.default_rng(seed).normal(0, 0.004, len(time_s))
    rows = {**drive.rows, "lambda_2": np.clip(second, min(first["values"]), max(first["values"]))}
    return drive, from_table(rows, configuration.of(config))


@pytest.mark.parametrize("seed", [3, *(pytest.param(n, marks=pytest.mark.slow) for n in (5, 8))])
def test_each_bank_has_a_delay_and_a_lag_of_its_own(seed):
    drive, columns = two_pipes(seed)
    ready = session.prepare(columns)
    pull = np.zeros(len(columns), bool)
    for one in drive.pulls:
        pull[columns.rows((one.start_s + one.end_s) / 2, one.end_s)] = True
    for name, later_s, tau_s in (("lambda_1", 0.0, drive.truth.tau_s), ("lambda_2", 0.02, 0.14)):
        bank = ready.banks[name]
        assert bank.identified.done and bank.aligned.model.tau_s == pytest.approx(tau_s, abs=0.015)
        assert np.mean((bank.aligned.delay_s - drive.truth.delay_s)[pull]) == pytest.approx(later_s, abs=0.015)
    told = answer_json.alignment_json(ready)
    assert told["tau_s"] == told["banks"]["lambda_2"]["tau_s"] > told["banks"]["lambda_1"]["tau_s"]
    said = [line for line in map(assumption, answer.assumptions(ready)) if line.startswith("delay and lag of lambda_")]
    assert len(said) == 2 and all("identified from" in line for line in said)


def test_each_bank_has_its_own_configured_lag():
    made = scene(pulls=1)
    columns = made.columns
    with rewriting(columns) as written:
        written["channels"].append({**written["channels"][0], "name": "lambda_2", "tau_ms": 50})
    columns.banks["lambda_2"] = columns.lambda_.copy()
    ready = session.prepare(columns, identified=False)
    assert {name: one.aligned.model.tau_s for name, one in ready.banks.items()} == {"lambda_1": 0.08, "lambda_2": 0.05}


def test_lag_of_the_fit_is_a_first_order_response():
    # against the closed form of a step, 1 - exp(-t / tau)
    values = np.r_[np.zeros(20), np.ones(200)]
    out = fit.lag(values, 0.07)
    times = (np.arange(220) - 19) * fit.STEP_S
    # a straight input between steps makes the step a ramp of one step
    assert out[60] == pytest.approx(1 - np.exp(-(times[60] - fit.STEP_S / 2) / 0.07), abs=2e-3)


def test_least_squares_against_scipy_on_the_same_problem():
    """The fit's own residuals, given to scipy's least squares: the same parameters come out."""
    optimize = pytest.importorskip("scipy.optimize", reason="scipy is the reference for the least squares")
    drive = make_drive(3, settings=Settings(timing="command"))
    columns = from_table(drive.rows, configuration.of(drive.config))
    given = cues.inputs(columns)
    cut = fit.cut_windows(columns, cues.find(columns, given))
    problem = fit.Fit(columns, given, transport.flow(columns), cut, columns.config.engine.assumed_cc / 1000)
    start = fit.PRIOR[:, 0].copy()
    ours, cost = problem.solve(start)
    theirs = optimize.least_squares(
        lambda p: problem.residuals(p).ravel(), ours, bounds=(fit.LOW, fit.HIGH), diff_step=1e-3
    )
    assert cost <= 2.0 * theirs.cost * 1.02
    found, reference = problem.model(ours), problem.model(theirs.x)
    flow = problem.flow
    apart = transport.arrival_s(found, flow) - transport.arrival_s(reference, flow)
    assert np.abs(np.median(apart)) < 0.003 and abs(found.tau_s - reference.tau_s) < 0.004


def test_events_of_an_injector_log_are_the_cuts():
    drive = make_drive(8, settings=Settings(timing="injector"))
    columns = from_table(drive.rows, configuration.of(drive.config))
    given = cues.inputs(columns)
    assert given.zero is cues.TimeZero.INJECTOR and given.cut_known
    assert np.mean(given.cut == drive.truth.cut) > 0.99
    found = cues.find(columns, given)
    true = np.flatnonzero(np.diff(drive.truth.cut.astype(int)) == 1)
    assert found.cut_on and all(np.abs(true - row).min() <= 3 for row in found.cut_on)


def test_dead_time_of_injectors_comes_out_of_the_regression():
    drive = make_drive(8, settings=Settings(timing="injector"))
    columns = from_table(drive.rows, configuration.of(drive.config))
    given = cues.inputs(columns)
    rows = ~drive.truth.cut & ~given.cut & (columns.map_kpa > 30)
    lambda_here = columns.map_kpa[rows] / given.injected[rows]
    close = np.abs(lambda_here / drive.truth.target[rows] - 1.0)
    assert np.median(close) < 0.03


def test_events_beyond_what_is_used_are_said(monkeypatch):
    drive = make_drive(8, settings=Settings(timing="injector"))
    columns = from_table(drive.rows, configuration.of(drive.config))
    monkeypatch.setattr(cues, "MOST_EVENTS", 1000)
    assert "at most" not in said(identify.identify(columns))
    monkeypatch.setattr(cues, "MOST_EVENTS", 2)
    words = said(identify.identify(columns))
    assert "identified from 2 fuel cuts" in words and "at most 2 of each kind" in words


@pytest.mark.parametrize("seed", [1, pytest.param(2, marks=pytest.mark.slow)])
def test_a_lag_of_mixing_gas_is_known_as_one(seed):
    """Fitted as a lag of lambda alone it reads short, with an interval that does not hold it."""
    drive = make_drive(seed, settings=Settings(timing="injector", kind="mixing lag"))
    columns = from_table(drive.rows, configuration.of(drive.config))
    given = cues.inputs(columns)
    cut = fit.cut_windows(columns, cues.find(columns, given))
    problem = fit.Fit(columns, given, transport.flow(columns), cut, columns.config.engine.assumed_cc / 1000)
    plain = identify.best(problem, given.cut_known)
    found = forms.formed(problem, plain)
    assert found.problem.mixing and not problem.mixing
    short, right = np.exp(plain[fit.TAU]), np.exp(found.p[fit.TAU])
    assert abs(right - drive.truth.tau_s) < abs(short - drive.truth.tau_s)
    assert abs(np.log(right / drive.truth.tau_s)) <= 1.96 * forms.lag_u(found, 0.0, identify.FLOOR[given.zero][2])


def test_a_configured_lag_that_the_drive_contradicts_is_told():
    drive = make_drive(8, settings=Settings(timing="injector"))
    told = {}
    for tau_ms in (1000.0 * drive.truth.tau_s, 400.0):
        config = copy.deepcopy(drive.config)
        config["channels"][0]["tau_ms"] = tau_ms
        told[tau_ms] = identify.identify(from_table(drive.rows, configuration.of(config)))
    right, wrong = told.values()
    assert right.lag_apart is None and "correct tau_ms" not in said(right)
    assert wrong.lag_apart.configured_s == 0.4 and wrong.lag_apart.found_s == wrong.model.tau_s
    assert "the configured lag is 400 ms, but this drive shows" in said(wrong)


def test_kinds_of_events_that_disagree_widen_the_interval():
    class Pulled:
        def __init__(self, *moves):
            self.moves = np.array(moves)

        def lags_by_kind(self, _p):
            return self.moves, np.array([500.0, 500.0, 500.0, 10.0])

    # of three kinds that are known well enough: root mean square of 0, 0.1 and 0.2, times 1.5
    assert forms.disagreement(Pulled(0.0, 0.1, -0.2, 5.0), None) == pytest.approx(1.5 * np.sqrt(0.05 / 3))
    assert forms.disagreement(Pulled(0.0, 0.0, 0.0, np.nan), None) == 0.0


def test_kinds_of_events_that_there_were_none_of_are_not_counted():
    words = said(identify.identify(scene(pulls=3).columns))
    assert words.startswith("identified from 3 steps of target lambda; ")
