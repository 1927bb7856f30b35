"""The uncertainty of a judged lambda."""

import numpy as np
import pytest
from analysis_scenes import rewriting, scene

from ringpull.analysis.delay import align
from ringpull.analysis.judge import input_uncertainty, session
from ringpull.analysis.judge import uncertainty as un
from ringpull.session import Converter


def test_divider_against_many_draws():
    random = np.random.default_rng(2)
    top = 6800 * (1 + random.uniform(-0.01, 0.01, 200_000))
    bottom = 10000 * (1 + random.uniform(-0.01, 0.01, 200_000))
    ratio = bottom / (top + bottom)
    assert input_uncertainty.divider_u(6800, 10000) == pytest.approx(ratio.std() / ratio.mean(), rel=0.01)


def test_white_noise_is_read_from_a_moving_column():
    random = np.random.default_rng(5)
    moving = 0.8 + 0.1 * np.sin(np.arange(20_000) / 300.0) + random.normal(0, 0.003, 20_000)
    assert un.white_noise(moving) == pytest.approx(0.003, rel=0.05)


def test_mean_u_against_many_draws_of_correlated_noise():
    random = np.random.default_rng(6)
    rows, step = 400_000, 0.005
    keep = np.exp(-step / un.MIXTURE_NOISE_S)
    kicks = random.normal(0, un.MIXTURE_NOISE * np.sqrt(1 - keep**2), rows)
    scatter = np.empty(rows)
    state = 0.0
    for row in range(rows):
        state = keep * state + kicks[row]
        scatter[row] = state
    for tau_s in (0.0, 0.08, 0.12):
        # the inverse works on what the sensor shows, scatter and all; its window rounds a little off
        means = align.undo_lag(scatter, tau_s, step)[40:-40].reshape(-1, 40).mean(axis=1)
        assert un.mean_u(0.0, 1.0, 0.2, step, tau_s) == pytest.approx(means.std(), rel=0.09)


@pytest.mark.parametrize("at_lambda", [0.75, 0.85, 1.0])
def test_systematic_part_against_many_loggers(at_lambda):
    # loggers and controllers as they come out of the box: each with its own resistors, reference, ground and controller
    made = scene(pulls=1)
    channel = made.columns.config.channels[0]
    top, bottom = channel.divider_ohm
    random, count = np.random.default_rng(8), 200_000

    def off(half):
        return random.uniform(-half, half, count)

    per_volt = (channel.values[1] - channel.values[0]) / (channel.volts[1] - channel.volts[0])
    volts = (at_lambda - channel.values[0]) / per_volt + off(0.010) / per_volt + off(0.010)
    tops, bottoms = top * (1 + off(0.01)), bottom * (1 + off(0.01))
    counts = np.round(volts * bottoms / (tops + bottoms) / (3.3 * (1 + off(0.02))) * 4096)
    told = channel.values[0] + per_volt * counts * 3.3 / 4096 * (top + bottom) / bottom
    assert un.budget(made.columns, at_lambda).systematic == pytest.approx(told.std(), rel=0.02)
    assert np.mean(abs(told - at_lambda) < 1.96 * told.std()) > 0.95


def test_the_budget_is_at_the_lambda_that_is_judged():
    made = scene(pulls=1)
    made.columns.config = made.columns.config.judged_by({"lambda": 1.0})
    ready = session.prepare(made.columns, identified=False)
    assert ready.budget.at_lambda == 1.0
    assert ready.budget.systematic == un.budget(made.columns, 1.0).systematic > un.budget(made.columns, 0.85).systematic


def test_configured_accuracy_and_calibration_count():
    made = scene(pulls=1)
    plain = un.budget(made.columns)
    with rewriting(made.columns) as written:
        written["channels"][0]["accuracy"] = 0.02
    worse = un.budget(made.columns)
    assert worse.systematic > plain.systematic
    with rewriting(made.columns) as written:
        written["channels"][0]["calibration"] = {"counts": [0, 4095], "volts": [0.0, 5.5]}
    names = {p.name for p in un.budget(made.columns).parts}
    assert "two-point calibration" in names and "divider" not in names
    assert un.budget(made.columns).random == pytest.approx(plain.random)


def test_what_the_converter_is_known_to_be_off_by_is_systematic_and_its_bits_set_the_steps():
    made = scene(pulls=1)
    plain = un.budget(made.columns)
    channel = made.columns.config.channels[0]
    made.columns.converters[channel.name] = Converter(14, 5.5 / (1 << 14), 0.02)
    told = un.budget(made.columns)
    parts = {p.name: p for p in told.parts}
    slope = (channel.values[-1] - channel.values[0]) / (channel.volts[-1] - channel.volts[0])
    assert parts["converter's bend"].u == pytest.approx(slope * 0.02 / 3**0.5)  # rectangular: JCGM 100, 4.3.7
    assert parts["converter steps"].u == pytest.approx(slope * 5.5 / (1 << 14) / 12**0.5)
    assert told.systematic == pytest.approx((plain.systematic**2 + parts["converter's bend"].u ** 2) ** 0.5)
