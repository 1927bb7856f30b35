"""What `check` predicts of a board's load, against what was measured on the emulated board; beyond 85 % it refuses."""

import json

import pytest

from ringpull.cli.main import main
from ringpull.device import load

SENSOR = {"name": "lambda_1", "kind": "lambda", "volts": [0.0, 5.0], "values": [0.6, 1.4]}


# The same of tests/emulated/RESULTS.md, 4 own inputs and 2 read ones at 200 Hz: 44 questions a second for six values
# each, and 48 for one
SIX_A_QUESTION, ONE_A_QUESTION = 0.724, 0.539


def config(rate_hz, own, read, **more):
    """An RP2040 with so many inputs of its own, so many on a fast external converter, and a tach."""
    one = {"kind": "linear", "unit": "kPa", "volts": [0.5, 4.5], "values": [0, 100]}
    names = [f"a{n}" for n in range(own)] + [f"x{n}" for n in range(read)]
    channels = [{**one, "name": f"at_{name}", "input": name} for name in names]
    channels[0] = {**SENSOR, "input": names[0]}
    channels.append({"name": "engine_speed", "input": "p0", "kind": "pulses", "per_rev": 6, "max_rpm": 15000})
    given = {"version": 1, "board": "rp2", "rate_hz": rate_hz, "channels": channels, "lean_warning": False, **more}
    return {**given, "converters": {"x": "mcp3208"}} if read else given


# Shares of time measured on rp2040js 1.4.1 with the whole firmware: (rate, own inputs, read ones) -> share
MEASURED = {(1000, 4, 0): 0.3478, (200, 4, 8): 0.2817, (1000, 4, 8): 0.6988, (500, 4, 8): 0.3906}


@pytest.mark.parametrize("size", MEASURED)
def test_the_prediction_is_what_was_measured_and_a_third_for_what_is_not_modelled(size):
    assert load.predicted(config(*size)).share == pytest.approx(1.3 * MEASURED[size], rel=0.1)


def asking(count, hz, **more):
    """Three inputs of its own and two read ones at 200 Hz, and so many values of the car's computer."""
    given = {**config(200, 3, 2), "bus": {"ask": True}, **more}
    given["channels"] += [{"name": f"v{n}", "kind": "obd", "pid": f"{0x04 + n:02X}", "hz": hz} for n in range(count)]
    return given


def test_questions_to_the_cars_computer_are_counted(tmp_path, capsys):
    assert load.predicted(asking(14, 20)).share == pytest.approx(1.3 * SIX_A_QUESTION, rel=0.1)
    assert load.ASKED in dict(load.predicted(asking(1, 0.5)).parts)
    assert load.ASKED not in dict(load.predicted(config(200, 3, 2)).parts)
    slow, fast = load.predicted(asking(8, 1)).share, load.predicted(asking(8, 5)).share
    assert slow < fast < load.predicted(asking(8, 10)).share
    # one value 50 times a second: as dear as a car that answers singly makes it
    assert load.predicted(asking(1, 50)).share == pytest.approx(1.3 * ONE_A_QUESTION, rel=0.1)
    path = tmp_path / "logger.json"
    path.write_text(json.dumps(asking(14, 20, rate_hz=1000)))
    assert main(["check", str(path)]) == 2
    told = capsys.readouterr().out
    assert load.ASKED in told and 'a lower "hz" of the values' in told
    path.write_text(json.dumps(asking(14, 14)))
    assert main(["check", str(path)]) == 0


def test_the_lean_warning_costs_its_looks():
    warned = config(200, 4, 0, target={"load": "map", "load_kpa": [40, 200], "lambda": [1.0, 0.8]})
    del warned["lean_warning"]
    warned["channels"][1]["name"] = "map"
    assert load.predicted(warned).share == pytest.approx(1.3 * 0.239, rel=0.1)  # measured likewise


def test_what_is_too_much_is_refused_with_the_reason_and_a_rate_that_is_not(tmp_path, capsys):
    path = tmp_path / "logger.json"
    path.write_text(json.dumps(config(1000, 3, 8)))
    assert main(["check", str(path)]) == 2
    told = capsys.readouterr().out
    assert "% of the board's processor" in told and "external converters" in told and "such as 800" in told
    path.write_text(json.dumps(config(800, 3, 8)))
    assert main(["check", str(path)]) == 0
    path.write_text(json.dumps(config(1000, 3, 0, screen=True)))
    assert main(["check", str(path)]) == 0


# The same with the generic board's module: (rate, inputs, edges a second) -> share
GENERIC = {(200, 6, 400): 0.2549, (200, 6, 0): 0.2168, (200, 2, None): 0.1797, (500, 2, None): 0.1646}


def generic(rate_hz, own, edges_hz):
    """A board of which nothing is known; edges_hz: what its tach sends at most, None without one."""
    given = {**config(rate_hz, own, 0), "board": "generic"}
    if edges_hz is None:
        del given["channels"][-1]
    else:
        given["channels"][-1].update(per_rev=1, max_rpm=max(60 * edges_hz, 200))
    return given


@pytest.mark.parametrize("size", GENERIC)
def test_so_it_is_for_a_board_with_soft_timer_and_interrupts(size):
    given = load.predicted(generic(*size))
    assert given.share == pytest.approx(1.3 * GENERIC[size], rel=0.1) and not given.measured


def test_pulses_that_are_timed_by_interrupts_cost_their_edges():
    injector = {"name": "injector", "input": "p1", "kind": "pulse_width"}
    given = config(200, 4, 0)
    before = load.predicted(given).share
    given["channels"].append(injector)
    # 15,000 rpm of a four-stroke: 125 pulses a second, two edges each
    assert load.predicted(given).share - before == pytest.approx(1.3 * 250 * 95e-6)
    assert load.interrupts_hz(given["channels"][-2], given, True) == 0


@pytest.mark.parametrize("board", ["rp2350", "esp32", "generic", "some board"])
def test_where_nothing_was_measured_the_estimate_is_called_one(tmp_path, capsys, board):
    path = tmp_path / "logger.json"
    path.write_text(json.dumps({**config(1000, 3, 8), "board": board}))
    assert main(["check", str(path)]) == 2
    assert "not measured on this board" in capsys.readouterr().out
    path.write_text(json.dumps({**config(500, 3, 6), "board": board}))
    assert main(["check", str(path)]) == 0
    told = capsys.readouterr().out
    assert "This may take" in told and "was not measured on this board" in told
    path.write_text(json.dumps({**config(50, 3, 0), "board": board}))
    assert main(["check", str(path)]) == 0 and "not measured" not in capsys.readouterr().out


def test_on_an_rp2040_it_is_not():
    given = config(500, 4, 2)
    assert load.predicted(given).measured and load.remark(given) is None
