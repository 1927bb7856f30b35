"""Targets for whole columns are the shared definition, row by row."""

from dataclasses import replace

import numpy as np
import pytest
from analysis_scenes import rewriting, scene

from ringpull.analysis.answer import absent
from ringpull.analysis.drive_state import usual_targets
from ringpull.analysis.drive_state.columns import Columns, from_table
from ringpull.analysis.drive_state.target import Source, targets
from ringpull.analysis.drive_state.usual_targets import preset
from ringpull.analysis.judge import needs, session
from ringpull.cli import options
from ringpull.errors import BadUsage
from ringpull.files import configuration
from ringpull.files.axis_tables import read_target
from ringpull.files.configuration import Configuration
from ringpull.wording.assumed import target as target_words
from shared_math.channels import column_name
from shared_math.target import lambda_target

TARGETS = {
    "number": {"lambda": 0.82},
    "load": {"load": "map", "load_kpa": [40, 100, 200], "lambda": [1.0, 0.88, 0.79]},
    "table": {
        "load": "map",
        "load_kpa": [40, 100, 200],
        "rpm": [1000, 4000, 7000],
        "lambda": [[1.0, 0.95, 0.85], [1.0, 0.88, 0.80], [0.95, 0.86, 0.77]],
    },
    "states": [
        {"load": "map", "load_kpa": [40, 200], "lambda": [1.0, 0.76], "when": {"channel": "wet", "is": 1}},
        {"load": "map", "load_kpa": [40, 200], "lambda": [1.0, 0.84], "when": {"channel": "ethanol", "is": [60, 100]}},
        {"load": "map", "load_kpa": [50, 180], "lambda": [0.98, 0.80]},
    ],
}


@pytest.mark.parametrize("name", TARGETS)
def test_columns_equal_the_shared_definition(name):
    random = np.random.default_rng(7)
    rows = 400
    load = random.uniform(20, 260, rows)
    rpm = random.uniform(500, 8000, rows)
    wet = random.integers(0, 2, rows).astype(float)
    ethanol = random.choice([0.0, 59.999, 60.0, 72.5, 100.0, 100.5], rows)
    columns = Columns(
        time_s=np.arange(rows) / 200,
        lambda_=np.ones(rows),
        rpm=rpm,
        map_kpa=load,
        config=configuration.of({"target": TARGETS[name]}),
        named={"map": load, "wet": wet, "ethanol": ethanol},
    )
    out, source = targets(columns)
    assert target_words(source).startswith("configured")
    for row in range(rows):
        channels = {"wet": wet[row], "ethanol": ethanol[row]}
        assert out[row] == pytest.approx(lambda_target(TARGETS[name], load[row], rpm[row], channels), abs=1e-12)


def test_target_follows_a_named_state():
    rows = 10
    on = np.arange(rows) >= 5
    target = [{"lambda": 0.8, "when": {"channel": "switch", "is": "race"}}, {"lambda": 0.9}]
    columns = Columns(
        np.arange(rows) / 200,
        np.ones(rows),
        np.full(rows, 3000.0),
        config=configuration.of({"target": target}),
        states={("switch", "race"): on},
    )
    assert targets(columns)[0].tolist() == [0.9] * 5 + [0.8] * 5


def test_a_table_without_its_load_judges_nothing():
    columns = Columns(
        np.arange(5) / 200, np.ones(5), np.full(5, 3000.0), config=configuration.of({"target": TARGETS["load"]})
    )
    assert np.isnan(targets(columns)[0]).all()


def test_preset_says_that_it_has_no_source():
    # full-throttle lambda by fuel and aspiration: common practice, no source
    columns = Columns(np.arange(5) / 200, np.ones(5), np.full(5, 3000.0), map_kpa=np.full(5, 170.0))
    value, words = preset(columns)
    assert 0.76 <= value[0] <= 0.82 and "common practice, no source" in target_words(Source(usual=words))
    columns.map_kpa = np.full(5, 98.0)
    assert 0.85 <= preset(columns)[0][0] <= 0.90


def test_presets_go_from_cruise_to_full_load():
    # lambda 1.00 at cruise, 0.76-0.82 boosted, 0.85-0.90 without boost, E85 0.80-0.86, methanol 0.70-0.80, gas
    # 0.90-1.0: common practice, no source
    kpa = np.array([40.0, 60.0, 95.0, 150.0, 220.0])
    columns = Columns(np.arange(5) / 200, np.ones(5), np.full(5, 3000.0), map_kpa=kpa)
    for name, low, high in (
        ("petrol-boosted", 0.76, 0.82),
        ("e85-boosted", 0.80, 0.86),
        ("methanol-boosted", 0.70, 0.80),
        ("gas-boosted", 0.90, 1.00),
    ):
        columns.config = Configuration(preset=name)
        value, words = targets(columns)
        assert value[0] == value[1] == 1.0 and low <= value[4] <= high and (np.diff(value) <= 0).all()
        assert name in target_words(words) and "common practice, no source" in target_words(words)
    # at altitude full throttle is less pressure
    columns.map_kpa = np.array([30.0, 40.0, 60.0, 70.0, 72.0])
    columns.config = Configuration(preset="petrol-natural")
    assert targets(columns)[0][[0, 4]].tolist() == [1.0, 0.88]
    assert [f"{f}-{a}" for f in options.PRESET_FUELS for a in options.PRESET_ASPIRATIONS] == list(usual_targets.NAMES)


def test_preset_follows_an_ethanol_channel():
    columns = Columns(np.arange(3) / 200, np.ones(3), np.full(3, 3000.0), map_kpa=np.full(3, 170.0))
    columns.extra["ethanol"] = np.array([0.0, 42.5, 85.0])
    value, words = preset(columns)
    assert (
        value[0] == 0.80
        and value[2] == 0.82
        and value[1] == pytest.approx(0.81)
        and "ethanol" in target_words(Source(usual=words))
    )


def test_target_from_a_table_in_csv(tmp_path):
    path = tmp_path / "target.csv"
    path.write_text(",1000,4000,7000\n40,1.0,1.0,0.98\n100,0.95,0.88,0.86\n200,0.85,0.80,0.77\n")
    target = read_target(path, "map")
    rows = 50
    random = np.random.default_rng(1)
    load, rpm = random.uniform(30, 220, rows), random.uniform(900, 7500, rows)
    columns = Columns(
        np.arange(rows) / 200, np.ones(rows), rpm, map_kpa=load, config=configuration.of({"target": target})
    )
    out, _ = targets(columns)
    assert out[0] == pytest.approx(lambda_target(target, load[0], rpm[0]))
    assert lambda_target(target, 100, 4000) == 0.88 and lambda_target(target, 40, 7000) == 0.98
    path.write_text(",1000,4000\n40,1.0,rich\n100,0.95,0.88\n")
    with pytest.raises(BadUsage):
        read_target(path, "map")


@pytest.mark.parametrize("loads", [(0.4, 2.0), (5.8, 36.0), (-70.0, 120.0), (20.0, 50.0), (100.0, 2000.0)])
def test_a_table_that_is_not_in_kpa_is_refused(tmp_path, loads):
    path = tmp_path / "target.csv"
    path.write_text(f",1000,7000\n{loads[0]},1.0,1.0\n{loads[1]},0.80,0.77\n")
    with pytest.raises(BadUsage, match="not kPa absolute"):
        read_target(path, "map")


@pytest.mark.parametrize("loads", [(0.0, 1.0), (40.0, 200.0)])
def test_a_table_of_throttle_must_be_in_percent(tmp_path, loads):
    path = tmp_path / "target.csv"
    path.write_text(f",1000,7000\n{loads[0]},1.0,1.0\n{loads[1]},0.80,0.77\n")
    with pytest.raises(BadUsage, match="not percent of throttle"):
        read_target(path, "throttle", "pct")
    path.write_text(",1000,7000\n0,1.0,1.0\n100,0.80,0.77\n")
    assert read_target(path, "throttle", "pct")["load_pct"] == [0, 100]


@pytest.mark.parametrize("mark", [";", "\t"])
def test_columns_may_be_parted_by_semicolons_or_tabs(tmp_path, mark):
    plain, other = tmp_path / "plain.csv", tmp_path / "other.csv"
    text = ",1000,4000.5\n40,1.0,0.98\n200,0.85,0.80\n"
    plain.write_text(text)
    other.write_text(text.replace(",", mark).replace(".", ","))
    assert read_target(other, "map") == read_target(plain, "map")


def test_axes_may_fall_and_exchanged_ones_are_told(tmp_path):
    path = tmp_path / "target.csv"
    path.write_text(",1000,4000,7000\n40,1.0,1.0,0.98\n200,0.85,0.80,0.77\n")
    plain = read_target(path, "map")
    path.write_text("kPa,7000,4000,1000\n200,0.77,0.80,0.85\n40,0.98,1.0,1.0\n")
    assert read_target(path, "map") == plain
    path.write_text(",40,200\n1000,1.0,0.85\n4000,1.0,0.80\n7000,0.98,0.77\n")
    with pytest.raises(BadUsage, match="first row .* runs to 200 and its first column to 7000") as told:
        read_target(path, "map")
    assert "exchanged" in told.value.lines()
    path.write_text(",1000,4000,2000\n40,1.0,1.0,0.98\n200,0.85,0.80,0.77\n")
    with pytest.raises(BadUsage, match="not a table with axes"):
        read_target(path, "map")
    path.write_text(",1000,4000\n40,1.0\n200,0.85,0.80\n")
    with pytest.raises(BadUsage, match="not a table of lambda"):
        read_target(path, "map")


def test_each_of_several_targets_has_its_own_load():
    rows = 400
    config = {
        "rate_hz": 200,
        "channels": [
            {"name": "lambda_1", "kind": "lambda"},
            {"name": "map", "kind": "linear", "unit": "kPa"},
            {"name": "throttle", "kind": "linear", "unit": "%"},
            {"name": "mode", "kind": "digital"},
        ],
        "target": [
            {"when": {"channel": "mode", "is": 1}, "load": "throttle", "load_pct": [20, 100], "lambda": [1.0, 0.80]},
            {"load": "map", "load_kpa": [40, 100, 200], "lambda": [1.0, 0.88, 0.79]},
        ],
    }
    mode, kpa, pct = (np.arange(rows) // 50) % 2, np.linspace(40, 200, rows), np.linspace(10, 100, rows)
    table = {"time_s": np.arange(rows) / 200, "lambda_1": np.full(rows, 0.9), "map_kpa": kpa, "throttle_pct": pct}
    got, _ = targets(from_table({**table, "mode": mode.astype(float)}, configuration.of(config)))
    wanted = np.where(
        mode == 1, np.interp(pct, [20, 100], [1.0, 0.80]), np.interp(kpa, [40, 100, 200], [1.0, 0.88, 0.79])
    )
    assert got == pytest.approx(wanted, abs=1e-12)


def test_units_of_temperatures_pressures_and_speeds_follow_the_configuration():
    # 100 degF = 37.78 degC, 373.15 K = 100 degC (definitions); 14.5038 psi = 100 kPa; 60 mph = 96.56 km/h
    given = {
        "coolant": ("degF", 100.0),
        "exhaust": ("K", 373.15),
        "map": ("psi", 14.5038),
        "wheel_speed": ("mph", 60.0),
    }
    channels = [{"name": name, "kind": "linear", "unit": unit} for name, (unit, _) in given.items()]
    table = {column_name(c): np.full(20, given[c["name"]][1]) for c in channels} | {"time_s": np.arange(20) / 200}
    made = from_table(table, configuration.of({"rate_hz": 200, "channels": channels}))
    assert made.extra["coolant"][0] == pytest.approx(37.778, abs=1e-3)
    assert made.extra["exhaust"][0] == pytest.approx(100.0)
    assert made.extra["wheel"][0] == pytest.approx(96.56, abs=0.01)
    assert made.map_kpa[0] == made.load().values[0] == made.load_of("map").values[0] == pytest.approx(100.0, abs=1e-3)


def test_an_ethanol_channel_that_never_shows_a_value_is_not_said_to_be_followed():
    made = scene(pulls=1)
    made.columns.config = replace(made.columns.config, targets=())
    made.columns.extra["ethanol"] = np.full(len(made.columns), np.nan)
    assert "ethanol" not in target_words(targets(made.columns)[1])


def test_a_target_by_a_load_that_is_not_there_judges_nothing():
    # 100 % of throttle is not 100 kPa: it would take the mixture of full boost for that of none
    columns = scene(pulls=2).columns
    columns.map_kpa = None
    columns.named.pop("map")
    with rewriting(columns) as written:
        written["channels"] = [c for c in written["channels"] if c["name"] != "map"]
    assert np.isnan(targets(columns)[0]).all()
    assert needs.TARGET_LOAD in absent(session.prepare(columns))
    assert columns.load().channel == "throttle" and columns.load_unit == "%"  # a map still has it for an axis
