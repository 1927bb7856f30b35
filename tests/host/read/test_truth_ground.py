"""The controller's ground stands 50 mV off the logger's: what a plain input makes of it, and what a difference does.

Front ends are simulated here: resistors off by up to their 1 %, each side of a difference behind its own divider. The
firmware then adds converter noise and steps. A calibration is two known voltages on the bench, where grounds are
joined.
"""

import json
from dataclasses import replace

import numpy as np
import pytest

import ringpull
from ringpull.analysis.drive_state import columns
from ringpull.analysis.judge import input_uncertainty, uncertainty
from ringpull.dryrun.run import dry_run
from shared_math import front_end

LEVELS = [0.65, 0.78, 0.85, 1.0, 1.3]
HOLD_S = 2.0
SHIFT_V = 0.050
NOMINAL = (6800.0, 10000.0)
BENCH_V = (0.5, 4.5)
SLOPE = 0.8 / 5.0  # lambda a volt


def ratio(top_off: float, bottom_off: float) -> float:
    """Of a divider whose resistors are off by so many parts, over the nominal one."""
    top, bottom = NOMINAL[0] * (1 + top_off), NOMINAL[1] * (1 + bottom_off)
    return bottom / (top + bottom) / (NOMINAL[1] / sum(NOMINAL))


# Both dividers of the difference off in opposite ways: the worst pair of 1 % resistors
PLUS, MINUS, PLAIN = ratio(0.01, -0.01), ratio(-0.01, 0.01), ratio(0.01, -0.01)


def terminals(signal_v: float, shift_v: float) -> tuple[float, float]:
    """(difference, plain) as the logger's nominal front end would have to see it for the same volts at its pins."""
    return (signal_v + shift_v) * PLUS - shift_v * MINUS, (signal_v + shift_v) * PLAIN


def drive(folder, signal_v, shift_v, calibrations=None):
    """The session of a drive that holds each of `signal_v`, the controller's output against its own ground."""
    folder.mkdir()
    lam = {"kind": "lambda", "volts": [0.0, 5.0], "values": [0.60, 1.40]}
    channels = [{"name": "lambda_1", "input": "x0-x1", **lam}, {"name": "lambda_2", "input": "x2", "bank": 2, **lam}]
    for channel in channels:
        if calibrations:
            channel["calibration"] = calibrations[channel["name"]]
    config = {"version": 1, "converters": {"x": "mcp3304"}, "channels": channels}
    (folder / "logger.json").write_text(json.dumps(config))
    lines = []
    for n, volts in enumerate(signal_v):
        for t in (n * HOLD_S, (n + 1) * HOLD_S - 1e-4):
            lines.append(f"{t:.4f},{','.join(f'{v:.6f}' for v in terminals(volts, shift_v))}")
    (folder / "volts.csv").write_text("\n".join(["t_s,lambda_1,lambda_2", *lines]) + "\n")
    dry_run(folder / "logger.json", folder / "volts.csv", None, None, folder / "card")
    (session,) = ringpull.read(folder / "card").sessions
    return session


def means(session, value, count):
    """Of each hold, without its first tenth. value: (rows,)."""
    t_s, value = session.frame()["time_s"].to_numpy(), value.to_numpy()
    return [value[(t_s > (n + 0.1) * HOLD_S) & (t_s < (n + 1) * HOLD_S - 0.01)].mean() for n in range(count)]


@pytest.fixture(scope="module")
def calibrations(tmp_path_factory):
    """counts at two known voltages, grounds joined."""
    bench = drive(tmp_path_factory.mktemp("bench") / "a", BENCH_V, 0.0)
    half = 1 << 12  # a signed converter's counts are stored with half of its range added
    assert bench.raw()["lambda_1"].min() > half
    return {
        name: {"counts": [round(c) for c in means(bench, bench.raw()[name], 2)], "volts": list(BENCH_V)}
        for name in ("lambda_1", "lambda_2")
    }


@pytest.fixture(scope="module")
def errors(calibrations, tmp_path_factory):
    """channel -> (mean errors at LEVELS, session) with the ground shifted, calibrated."""
    volts = [(lam - 0.6) / SLOPE for lam in LEVELS]
    session = drive(tmp_path_factory.mktemp("shifted") / "a", volts, SHIFT_V, calibrations)
    return {
        n: np.array(means(session, session.frame()[n], len(LEVELS))) - LEVELS for n in ("lambda_1", "lambda_2")
    }, session


def test_a_difference_is_right(errors):
    assert np.abs(errors[0]["lambda_1"]).max() < 0.002


def test_every_sample_of_a_difference_is_within_its_noise(errors):
    found, session = errors
    t_s = session.frame()["time_s"].to_numpy()
    held = (t_s > 2 * HOLD_S + 0.2) & (t_s < 3 * HOLD_S - 0.02)
    noise = session.frame()["lambda_1"].to_numpy()[held].std()
    assert 0 < noise < 0.002


def test_a_plain_input_is_off_by_what_the_uncertainty_says_of_a_volt_of_ground(errors):
    found, session = errors
    cols = columns.from_session(session)
    cols.config = replace(cols.config, channels=(cols.config.by_name["lambda_2"],))
    (part,) = [part for part in uncertainty.budget(cols).parts if part.name == "ground offset"]
    by_volt = part.u / input_uncertainty.rectangular(front_end.GROUND_V)
    assert by_volt == pytest.approx(SLOPE, rel=1e-9)
    # 50 mV are 0.008 of lambda, at every lambda
    assert np.abs(found["lambda_2"] - by_volt * SHIFT_V).max() < 0.001
    assert found["lambda_2"].min() > 0.007


def test_the_uncertainty_knows_which_input_it_is(errors):
    cols = columns.from_session(errors[1])
    difference = cols.config.by_name["lambda_1"]
    budget = uncertainty.of_channel(cols, difference)
    (part,) = [part for part in budget.parts if part.name == "ground offset"]
    assert part.u < 0.02 * SLOPE * input_uncertainty.rectangular(front_end.GROUND_V)
    # and what was measured with 50 mV is covered by the whole of it
    assert np.abs(errors[0]["lambda_1"]).max() < 2 * budget.systematic


def test_without_calibration_the_dividers_are_what_is_wrong(tmp_path):
    """Both resistors off by their whole 1 %, unmeasured: two rectangular parts at their ends, sqrt(6) standard
    uncertainties of the two together, and more than a calibration leaves."""
    session = drive(tmp_path / "a", [(0.85 - 0.6) / SLOPE], 0.0)
    off = means(session, session.frame()["lambda_1"], 1)[0] - 0.85
    cols = columns.from_session(session)
    (part,) = [part for part in uncertainty.budget(cols).parts if part.name == "divider"]
    assert 0.0015 < abs(off) == pytest.approx(np.sqrt(6) * part.u, abs=0.0003)
