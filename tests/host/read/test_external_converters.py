"""Dry runs with external converters: differences, signed counts of each part's width, values held with their age."""

import json

import numpy as np
import pytest

import ringpull
from ringpull.dryrun.run import dry_run
from ringpull.files import configuration

DIRECT = {"top_ohm": 0, "bottom_ohm": 1}


def linear(name, place, most):
    ends = [-most, most] if "-" in place else [0, most]
    return {
        "name": name,
        "input": place,
        "kind": "linear",
        "unit": "V",
        "volts": ends,
        "values": ends,
        "divider": DIRECT,
    }


@pytest.fixture(scope="module")
def session(tmp_path_factory):
    """A ramp of a volt a second through zero on every difference, steady volts elsewhere; two lambda inputs."""
    folder = tmp_path_factory.mktemp("converters")
    banks = [
        {
            "name": f"lambda_{bank}",
            "input": place,
            "kind": "lambda",
            "volts": [0, 5],
            "values": [0.6, 1.4],
            "bank": bank,
        }
        for bank, place in ((1, "x2-x3"), (2, "x5-x4"))
    ]
    config = {
        "version": 1,
        "board": "rp2",
        "rate_hz": 100,
        "converters": {"x": "mcp3304", "y": "ads1115"},
        "channels": [
            linear("fast", "x0-x1", 3.3),
            linear("single", "x7", 3.3),
            linear("slow", "y0-y1", 4.0),
            linear("slow_single", "y2", 4.0),
            linear("own", "a0", 3.3),
            *banks,
        ],
    }
    (folder / "logger.json").write_text(json.dumps(config))
    t = np.arange(0, 4.0, 0.01)
    lines = ["t_s,fast,single,slow,slow_single,own,lambda_1,lambda_2"]
    lines += [f"{at:.3f},{at - 2:.4f},1.0,{at - 2:.4f},2.0,1.5,1.25,3.125" for at in t]
    (folder / "volts.csv").write_text("\n".join(lines) + "\n")
    dry_run(folder / "logger.json", folder / "volts.csv", None, None, folder / "card")
    return ringpull.read(folder / "card").sessions[0]


def test_columns_are_as_wide_as_the_parts_counts(session):
    bits = {column.name: (column.role, column.bits) for column in session._blocks.setup.columns}
    assert bits["fast"] == bits["single"] == bits["lambda_1"] == ("adc", 13)
    assert bits["slow"] == ("adc", 16) and bits["slow.held"] == ("held", 12) and bits["own"] == ("adc", 12)
    assert "fast.held" not in bits


def test_differences_keep_their_sign(session):
    frame = session.frame()
    expected = np.asarray(frame["time_s"]) - 2
    later = np.asarray(frame["time_s"]) > 0.1
    fast = np.asarray(frame["fast_v"])[later] - expected[later]
    assert abs(fast.mean()) < 2e-4 and np.abs(fast).max() < 6 * 6.6 / 8192  # noise of a count, sigma
    slow = np.asarray(frame["slow_v"])[later] - expected[later]
    assert abs(slow.mean() + 0.010) < 2e-4  # of a ramp of 1 V/s, held for a row of 10 ms
    raw = session.raw()
    assert np.asarray(raw["fast"])[5] < 4096 < np.asarray(raw["fast"])[-5]  # half of the range is added


def test_single_inputs_of_signed_parts_and_two_banks(session):
    frame = session.frame()
    for name, volts in (("single_v", 1.0), ("slow_single_v", 2.0), ("own_v", 1.5)):
        assert np.nanmean(np.asarray(frame[name])) == pytest.approx(volts, abs=1e-3)
    assert np.nanmean(np.asarray(frame["lambda_1"])) == pytest.approx(0.8, abs=2e-4)
    assert np.nanmean(np.asarray(frame["lambda_2"])) == pytest.approx(1.1, abs=2e-4)


def test_held_values_tell_their_age_and_are_none_before_the_first(session):
    age = np.asarray(session.raw()["slow.held"]).astype(int)
    assert age[0] == 4095 and set(age[1:]) == {10}
    slow = np.asarray(session.frame()["slow_v"])
    assert np.isnan(slow[0]) and not np.isnan(slow[1:]).any()


def test_a_value_held_for_more_than_a_second_is_none():
    from ringpull.ring.rows.setup import Column, Setup
    from ringpull.ring.values import analog

    columns = [Column("oil", "adc", 16, 0.001, 0.0), Column("oil.held", "held", 12)]
    channel = {"name": "oil", "kind": "linear", "unit": "V", "volts": [0, 5], "values": [0, 5]}
    config = configuration.of({"channels": [channel]})
    setup = Setup(columns, 10000, config, None, "", "", [])
    raw = {"row": np.arange(4), "oil": np.full(4, 2500), "oil.held": np.array([0, 999, 1000, 4095])}
    assert np.allclose(analog.value(setup, config.by_name["oil"], raw), [2.5, 2.5, np.nan, np.nan], equal_nan=True)


def test_a_known_voltage_that_reads_wrong_lights_the_fault(tmp_path):
    """2.5 V of a reference, expected within 20 mV; from 2 s on it reads 60 mV low."""
    reference = linear("reference", "x6", 3.3) | {"expect": [2.48, 2.52]}
    (tmp_path / "logger.json").write_text(json.dumps({"version": 1, "rate_hz": 100, "channels": [reference]}))
    lines = [f"{at:.2f},{2.5 if at < 2 else 2.44}" for at in np.arange(0, 6, 0.01)]
    (tmp_path / "volts.csv").write_text("\n".join(["t_s,reference", *lines]) + "\n")
    dry_run(tmp_path / "logger.json", tmp_path / "volts.csv", None, None, tmp_path / "card")
    raw = ringpull.read(tmp_path / "card").sessions[0].raw()
    lamp = np.asarray(raw["lamp"])
    assert np.all(lamp[:200] == 1)
    assert np.all(lamp[420:] == 64 + 46)  # FORMAT.md: 64 + n shows fault n


WIRED = {
    "version": 1,
    "board": "rp2",
    "rate_hz": 100,
    "converters": {"x": "mcp3304"},
    "channels": [
        {"name": "lambda_1", "input": "a0", "kind": "lambda", "volts": [0, 5], "values": [0.6, 1.4]},
        {"name": "lambda_1_wire", "kind": "linear", "unit": "V", "volts": [0, 8], "values": [0, 8]},
    ],
}


@pytest.mark.parametrize(("place", "ground_v"), [("a1", 0.0), ("x2", 0.2)])
def test_a_lambda_whose_ground_core_breaks_lights_the_fault(tmp_path, place, ground_v):
    """Sound until 3 s, with a ground that stands `ground_v` off; then lambda reads 0.627 of its signal wire. A mark is
    open from 3.5 s on: the fault is shown in its place."""
    config = json.loads(json.dumps(WIRED))
    divider = {"top_ohm": 16800, "bottom_ohm": 10000}
    config["channels"][1] |= {"input": place, "divider": divider, "checks": "lambda_1"}
    (tmp_path / "logger.json").write_text(json.dumps(config))
    lines = ["t_s,lambda_1,lambda_1_wire"]
    for at in np.arange(0, 7, 0.01):
        signal_v = 1.5 + 0.5 * np.sin(at)
        wire_v = signal_v + ground_v
        lines.append(f"{at:.2f},{signal_v if at < 3 else 0.627 * wire_v:.4f},{wire_v:.4f}")
    (tmp_path / "volts.csv").write_text("\n".join(lines) + "\n")
    buttons = tmp_path / "buttons.csv"
    buttons.write_text("t_s,event\n3.5,press\n3.7,release\n")
    dry_run(tmp_path / "logger.json", tmp_path / "volts.csv", None, buttons, tmp_path / "card")
    session = ringpull.read(tmp_path / "card").sessions[0]
    raw = session.raw()
    lamp = np.asarray(raw["lamp"])
    assert np.all(lamp[:300] == 1) and session.marks and not session.marks[0].void
    assert np.all(lamp[520:] == 64 + 48)  # FORMAT.md: 64 + n shows fault n
    times_s = np.asarray(raw["row"]) / 100
    told = session.table()["lambda_1_wire_v"]
    assert np.allclose(told, 1.5 + 0.5 * np.sin(times_s) + ground_v, atol=0.03)
