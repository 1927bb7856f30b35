"""The random drives are what they say: distributions, faults, repeatability, and physics against worked examples."""

import numpy as np
import pytest
from truth import exhaust, road
from truth.drives import CLEAN_EXCESS, LEAN_EXCESS, LEAN_S, Settings, make_drive, pair
from truth.engines import air_flow_kg_s, pipe_delay_s
from truth.tach import DROPOUT_SHARE

from shared_math import config

COUNT = 60


@pytest.fixture(scope="module")
def drives():
    return [make_drive(seed) for seed in range(COUNT)]


def test_air_flow_worked_example():
    """1.998 l, VE 0.95, 100 kPa, 303.15 K, 6000 rpm: 109.062 g/s, by speed-density (Heywood, Internal Combustion Engine
    Fundamentals, 2.10) VE Vd (N/120) p / (R T), R = 287.05 J/kgK."""
    flow = air_flow_kg_s(0.95, 1.998e-3, 6000, 100, 303.15)
    assert flow == pytest.approx(0.109062, abs=5e-7)
    assert flow == pytest.approx(0.95 * 1.998e-3 * 50 * 100e3 / (287.05 * 303.15), rel=1e-12)


def test_pipe_delay_worked_example():
    """1.9635 l of gas at 1100 K and 110 kPa, 6000 rpm wide open, with the air of the example above and fuel for lambda
    0.85 (R of that exhaust 300.95 J/kgK, computed with cantera): V rho / mdot = 5.54 ms; half the flow, twice that."""
    flow = 0.109062 * (1 + 1 / (14.57 * 0.85))
    assert pipe_delay_s(1.9635e-3, 1100, 110, flow) * 1e3 == pytest.approx(5.54, abs=0.01)
    assert pipe_delay_s(1.9635e-3, 1100, 110, flow / 2) * 1e3 == pytest.approx(11.07, abs=0.02)


def test_cycle_part_is_ninety_over_speed():
    """540 degrees of crank are 90 / rpm seconds: 15 ms at 6000 rpm (arithmetic)."""
    engine = make_drive(0).truth.engine
    engine.pipe_m3, engine.constant_s, engine.cycle_deg = 0.0, 0.0, 540.0
    assert engine.steady_delay_s(6000, 100) == pytest.approx(0.015)


def test_lag_is_first_order():
    """t50 = 0.69315 tau, t63 = tau, t90 = 2.30259 tau after a step (arithmetic of 1 - exp(-t / tau))."""
    step = np.concatenate([np.zeros(2), np.ones(1000)])
    out = road.lag(step, 0.100)
    t_s = (np.arange(step.size) - 1.5) * road.FINE_S  # the step is a straight rise between grid points 1 and 2
    for level, expected in ((0.5, 0.069315), (1 - np.exp(-1), 0.1), (0.9, 0.230259)):
        assert np.interp(level, out, t_s) == pytest.approx(expected, abs=2e-5)


def test_transport_in_a_drive_is_the_steady_formula_where_it_is_steady(drives):
    for one in drives[:20]:
        engine, t_s = one.truth.engine, one.rows["time_s"]
        quiet = np.abs(np.gradient(one.truth.speed_rpm)) < 0.01
        held = np.convolve(quiet, np.ones(401), "same") > 400.5
        at = np.flatnonzero(held[: len(t_s) - 100])[::200]
        for n in at:
            kpa = float(one.rows["map_kpa"][n - 20 : n + 21].mean())
            expected = engine.steady_delay_s(float(one.truth.speed_rpm[n]), kpa)
            assert one.truth.delay_s[n] == pytest.approx(expected, rel=0.06, abs=0.003)


def test_the_sensor_shows_the_cylinders_mixture_late_and_lagged(drives):
    """Taken apart and put together again: shift by the true delay, lag by tau, and only the noise is left."""
    for one in drives[:20]:
        t_s, truth = one.rows["time_s"], one.truth
        came = road.lag(np.interp(t_s, t_s + truth.delay_s, truth.lambda_cylinder), truth.tau_s, 0.005)
        inside = (came > truth.chain.low + 0.03) & (came < 1.1)
        smooth = np.convolve(np.abs(np.gradient(came)), np.ones(21), "same") < 0.05
        rest = (one.rows["lambda_1"] - came)[inside & smooth]
        assert rest.std() == pytest.approx(np.hypot(0.003, 0.006), rel=0.12)
        assert abs(rest.mean()) < 0.001


def test_noise_has_its_size_and_its_memory():
    chain = make_drive(1).truth.chain
    value = exhaust.noise(np.random.default_rng(1), chain, 400_000, 0.005)
    value -= value.mean()
    assert value.std() == pytest.approx(np.hypot(0.003, 0.006), rel=0.02)
    lagged = (value[16:] * value[:-16]).mean()  # 80 ms
    assert lagged == pytest.approx(0.006**2 * np.exp(-1), rel=0.08)


def test_distributions(drives):
    truths = [one.truth for one in drives]
    pull_delay = np.array([truth.pull_delay_s for truth in truths])
    cruise_delay = np.array([truth.cruise_delay_s for truth in truths])
    assert pull_delay.min() > 0.020 and cruise_delay.max() < 0.400
    assert np.quantile(cruise_delay, 0.9) > 0.15 and (cruise_delay > pull_delay).all()
    tau = np.array([truth.tau_s for truth in truths])
    assert 0.040 <= tau.min() < 0.06 and 0.13 < tau.max() <= 0.150
    film = np.array([truth.engine.film_s for truth in truths])
    assert 0.2 < (film == 0).mean() < 0.5 and film.max() <= 0.2
    cut = np.array([truth.engine.cut_delay_s for truth in truths])
    assert 0 <= cut.min() < 0.1 and 0.3 < cut.max() <= 0.4
    ramps = []
    for one in drives:
        for pull in one.pulls:
            speed = one.truth.speed_rpm[np.searchsorted(one.rows["time_s"], pull.end_s) - 1]
            ramps.append((speed - one.truth.engine.low_rpm) / (pull.end_s - pull.start_s))
    assert 280 < min(ramps) < 500 and 2000 < max(ramps) < 3100
    timing = [truth.chain.timing for truth in truths]
    for kind, column in (("injector", "injector_ms"), ("command", "lambda_commanded"), ("none", None)):
        share = timing.count(kind) / COUNT
        assert 0.15 < share < 0.55
        assert all((column in one.rows) == (one.truth.chain.timing == kind) for one in drives if column)
    assert np.mean([bool(truth.cuts_recovered) for truth in truths]) > 0.85
    lengths = [one.rows["time_s"][-1] for one in drives]
    assert 110 < np.median(lengths) < 190


@pytest.mark.slow
def test_between_pulls():
    offsets = [pull.offset for seed in range(20) for pull in make_drive(seed, settings=Settings(pulls=(6, 6))).pulls]
    assert np.std(offsets) == pytest.approx(0.005, rel=0.2)


def test_holes_and_events(drives):
    """One hole a drive, nearly always deep and long enough to count; every other pull clean after its tip-in."""
    counted = 0
    for one in drives:
        (hole,) = one.truth.holes
        pull = one.pulls[hole.pull - 1]
        assert pull.settled_s < hole.start_s < hole.end_s < pull.end_s - 0.1
        assert hole.rpm_from < hole.rpm_to
        events = [event for event in one.truth.events if not event.tip_in]
        counted += len(events)
        for event in events:
            assert event.pull == hole.pull
            assert event.end_s - event.start_s >= LEAN_S and event.deepest >= LEAN_EXCESS
            inside = (one.rows["time_s"] > event.start_s) & (one.rows["time_s"] < event.end_s)
            excess = (one.truth.lambda_cylinder - one.truth.target)[inside]
            assert excess.min() > LEAN_EXCESS - 0.002 and excess.max() <= event.deepest + 1e-9
        assert all(other.excess < CLEAN_EXCESS + 0.01 for other in one.pulls if other.number != hole.pull)
    assert counted >= 0.9 * COUNT
    clean = [pull for one in drives for pull in one.pulls if pull.clean]
    assert len(clean) > 1.8 * COUNT
    assert 0.3 < np.mean([pull.clean_throughout for pull in clean]) < 0.95
    lean_tip_in = [pull.excess_all > 0.05 for pull in clean]
    assert np.mean(lean_tip_in) > 0.05, "no pull with a lean tip-in: nothing to be misled by"


def test_causes_show_in_what_is_logged(drives):
    """A hole by fuel pressure: pressure over manifold falls as the square of the mixture."""
    seen = 0
    for one in drives:
        (hole,) = one.truth.holes
        if hole.cause != "pressure" or "fuel_pressure_kpa" not in one.rows or not one.truth.engine.regulated:
            continue
        seen += 1
        t_s, middle = one.rows["time_s"], 0.5 * (hole.start_s + hole.end_s)
        across = one.rows["fuel_pressure_kpa"] - one.rows["map_kpa"]
        low = across[np.abs(t_s - middle) < 0.05].mean()
        command = float(np.interp(middle, t_s, one.truth.target))
        assert low / one.truth.engine.fuel_kpa == pytest.approx((1 + hole.depth / command) ** -2, abs=0.03)
    assert seen


def test_power_is_consistent_with_the_motion(drives):
    """Wheel power from the speed's own derivative and the car's road load: mass, drag, rolling, grade."""
    for one in drives[:15]:
        car, t_s = one.truth.car, one.rows["time_s"]
        rad_s = one.truth.speed_rpm * 2 * np.pi / 60
        speed = rad_s / car.rad_per_m
        force = car.mass_kg * car.rotating * np.gradient(speed, t_s)
        force += 0.5 * car.air_kg_m3 * car.cda_m2 * speed**2 + car.mass_kg * 9.80665 * (car.crr + car.grade)
        for pull in one.pulls:
            inside = (t_s > pull.settled_s) & (t_s < pull.end_s - 0.05)
            np.testing.assert_allclose((force * speed)[inside], one.truth.wheel_w[inside], rtol=0.01)
        assert np.isnan(one.truth.wheel_w[t_s < one.pulls[0].start_s - 0.1]).all()


def test_tach_faults(drives):
    shares = []
    for one in drives:
        turns = np.concatenate([[0.0], np.cumsum(one.truth.speed_rpm[1:] + one.truth.speed_rpm[:-1]) / 120 * 0.005])
        true_edges = turns[-1] * one.truth.chain.per_rev
        if not one.truth.chain.edges_glitch and not one.lost_s:
            shares.append((one.truth.chain.edges_drop, 1 - one.edges_s.size / true_edges))
        speed = one.rows["engine_speed_rpm"]
        assert np.isnan(speed).any() == bool(one.lost_s)
        known = np.isfinite(speed) & (np.abs(np.gradient(np.gradient(one.truth.speed_rpm))) < 0.05)
        assert np.percentile(np.abs(speed[known] / one.truth.speed_rpm[known] - 1), 95) < 0.003
        assert (np.diff(one.edges_s) > 0).all()
        for start, end in one.lost_s:
            assert not ((one.edges_s > start + 0.001) & (one.edges_s < end)).any()
    dropped = np.mean([share for drops, share in shares if drops])
    assert dropped == pytest.approx(DROPOUT_SHARE, abs=0.001)
    assert np.mean([share for drops, share in shares if not drops]) < 0.001
    assert 0.02 < np.mean([bool(one.lost_s) for one in drives]) < 0.35


def test_configurations_are_valid(drives):
    for one in drives:
        assert config.check(one.config) == []


def test_a_seed_is_a_drive_for_ever_and_a_car_can_drive_twice():
    first, again, other = make_drive(7), make_drive(7), make_drive(8)
    for name, values in first.rows.items():
        np.testing.assert_array_equal(values, again.rows[name])
    assert first.truth.engine != other.truth.engine
    before, after = pair(3, Settings(hole_share=0.0), lambda rpm, kpa: np.where(rpm > 4000, 1.03, 1.0))
    assert before.truth.engine == after.truth.engine and before.truth.car == after.truth.car
    assert before.truth.holes == [] and not np.array_equal(
        before.rows["lambda_1"][:1000], after.rows["lambda_1"][:1000]
    )
    means = []
    for one in (before, after):
        t_s = one.rows["time_s"]
        chosen = np.zeros(t_s.size, bool)
        for pull in one.pulls:
            chosen |= (t_s > pull.settled_s) & (t_s < pull.end_s - 0.1)
        chosen &= one.truth.speed_rpm > 4500
        means.append((one.truth.lambda_cylinder / one.truth.target)[chosen].mean())
    assert means[1] / means[0] == pytest.approx(1.03, abs=0.012)


def test_timing_columns_move_when_the_mixture_does(drives):
    """Commanded lambda is the target without the sensor's delay; injector time is nought while the fuel is cut."""
    for one in drives[:25]:
        if "injector_ms" in one.rows:
            on_ms = one.rows["injector_ms"]
            late = np.convolve(one.truth.cut, np.ones(41), "same") > 40.5
            assert np.abs(on_ms[late]).max(initial=0) < 0.05
            full = [
                (one.rows["time_s"] > pull.end_s - 0.3) & (one.rows["time_s"] < pull.end_s - 0.05) for pull in one.pulls
            ]
            duty = np.mean([on_ms[rows].mean() for rows in full]) * one.truth.engine.limit_rpm / 1200
            assert 40 < duty < 100
        if "lambda_commanded" in one.rows:
            error = one.rows["lambda_commanded"] - one.truth.target
            pulls = np.zeros(error.size, bool)
            for pull in one.pulls:
                pulls |= (one.rows["time_s"] > pull.settled_s) & (one.rows["time_s"] < pull.end_s - 0.05)
            assert np.abs(error[pulls]).max() < 0.02
