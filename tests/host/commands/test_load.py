"""What `check` predicts of a board's load, against what was measured on the emulated board; beyond 85 % it refuses."""

import json

import pytest

from ringpull.cli.main import main
from ringpull.device import load


def config(rate_hz, own, read, **more):
    """An RP2040 with so many inputs of its own, so many on a fast external converter, and a tach."""
    one = {"kind": "linear", "unit": "kPa", "volts": [0.5, 4.5], "values": [0, 100]}
    names = [f"a{n}" for n in range(own)] + [f"x{n}" for n in range(read)]
    channels = [{**one, "name": f"at_{name}", "input": name} for name in names]
    channels.append({"name": "engine_speed", "input": "p0", "kind": "pulses", "per_rev": 6, "max_rpm": 15000})
    given = {"version": 1, "board": "rp2", "rate_hz": rate_hz, "channels": channels, "lean_warning": False, **more}
    return {**given, "converters": {"x": "mcp3208"}} if read else given


# Shares of time measured on rp2040js 1.4.1 with the whole firmware: (rate, own inputs, read ones) -> share
MEASURED = {(1000, 4, 0): 0.3478, (200, 4, 8): 0.3107, (1000, 4, 8): 0.9165, (500, 4, 8): 0.4967}


@pytest.mark.parametrize("size", MEASURED)
def test_the_prediction_is_what_was_measured_and_a_third_for_what_is_not_modelled(size):
    assert load.predicted(config(*size)).share == pytest.approx(1.3 * MEASURED[size], rel=0.1)


def test_the_lean_warning_costs_its_looks():
    warned = config(200, 4, 0, target={"load": "map", "load_kpa": [40, 200], "lambda": [1.0, 0.8]})
    del warned["lean_warning"]
    warned["channels"][1]["name"] = "map"
    sensor = {"name": "lambda_1", "input": "a0", "kind": "lambda", "volts": [0.0, 5.0], "values": [0.6, 1.4]}
    warned["channels"][0] = sensor
    assert load.predicted(warned).share == pytest.approx(1.3 * 0.239, rel=0.1)  # measured likewise


def test_what_is_too_much_is_refused_with_the_reason_and_a_rate_that_is_not(tmp_path, capsys):
    path = tmp_path / "logger.json"
    path.write_text(json.dumps(config(1000, 4, 8)))
    assert main(["check", str(path)]) == 2
    told = capsys.readouterr().out
    assert "% of the board's processor" in told and "external converters" in told and "such as 500" in told
    path.write_text(json.dumps(config(500, 4, 8)))
    assert main(["check", str(path)]) == 0
    path.write_text(json.dumps(config(1000, 4, 0, screen=True)))
    assert main(["check", str(path)]) == 0


def test_a_board_on_which_nothing_was_measured_is_not_judged():
    given = {**config(1000, 4, 8), "board": "esp32"}
    assert load.predicted(given) is None and load.refusal(given) is None
