"""Targets for whole columns are the shared definition, row by row."""

import numpy as np
import pytest

from ringpull.analysis.columns import Columns
from ringpull.analysis.target import preset, targets
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
        config={"target": TARGETS[name]},
        named={"map": load, "wet": wet, "ethanol": ethanol},
    )
    out, source = targets(columns)
    assert source.startswith("configured")
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
        config={"target": target},
        states={("switch", "race"): on},
    )
    assert targets(columns)[0].tolist() == [0.9] * 5 + [0.8] * 5


def test_a_table_without_its_load_judges_nothing():
    columns = Columns(np.arange(5) / 200, np.ones(5), np.full(5, 3000.0), config={"target": TARGETS["load"]})
    assert np.isnan(targets(columns)[0]).all()


def test_preset_says_that_it_has_no_source():
    # full-throttle lambda by fuel and aspiration: common practice, no source
    columns = Columns(np.arange(5) / 200, np.ones(5), np.full(5, 3000.0), map_kpa=np.full(5, 170.0))
    value, words = preset(columns)
    assert 0.76 <= value <= 0.82 and "common practice, no source" in words
    columns.map_kpa = np.full(5, 98.0)
    assert 0.85 <= preset(columns)[0] <= 0.90
