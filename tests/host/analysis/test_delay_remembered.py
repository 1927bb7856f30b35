"""Delay and lag that were identified before: taken from memory only where nothing that matters differs."""

from dataclasses import replace

import numpy as np
import pytest

from ringpull.analysis.delay import remembered
from ringpull.analysis.drive_state.columns import Columns
from ringpull.files.configuration import Configuration, Engine


def session(**other):
    time_s = np.arange(200) / 100.0
    found = {
        "time_s": time_s,
        "lambda_": 0.9 + 0.01 * np.sin(time_s),
        "rpm": np.full(200, 3000.0),
        "map_kpa": np.full(200, 150.0),
        "extra": {"intake": np.full(200, 30.0)},
        "config": Configuration(rate_hz=100, engine=Engine(displacement_cc=1600)),
        "named": {"switch": np.zeros(200)},
        "states": {("lambda_1", "warm-up"): np.zeros(200, bool)},
    }
    return Columns(**(found | other))


@pytest.fixture
def asked(monkeypatch):
    """The sessions that were identified, not remembered."""
    asked = []
    plain = remembered.identify
    monkeypatch.setattr(remembered, "_known", {})
    monkeypatch.setattr(remembered, "identify", lambda columns: asked.append(columns) or plain(columns))
    return asked


def test_an_equal_session_is_identified_once(asked):
    first = remembered.identified(session())
    assert remembered.identified(session()) is first and len(asked) == 1


@pytest.mark.parametrize(
    "change",
    [
        {"time_s": np.arange(200) / 100.0 + 1},
        {"lambda_": np.full(200, 0.9)},
        {"rpm": np.full(200, 3001.0)},
        {"map_kpa": None},
        {"map_kpa": np.full(200, 151.0)},
        {"throttle": np.zeros(200)},
        {"extra": {}},
        {"extra": {"commanded": np.full(200, 30.0)}},
        {"config": Configuration(rate_hz=100, engine=Engine(displacement_cc=1800))},
        {"banks": {"lambda_1": np.zeros(200)}},
        {"named": {"switch": np.ones(200)}},
        {"named": {"other": np.zeros(200)}},
        {"states": {("lambda_1", "fault"): np.zeros(200, bool)}},
        {"states": {("lambda_1", "warm-up"): np.ones(200, bool)}},
        {"row_s": 0.02},
    ],
    ids=lambda change: "-".join(change),
)
def test_another_session_is_identified_for_itself(asked, change):
    remembered.identified(session())
    remembered.identified(replace(session(), **change))
    assert len(asked) == 2


def test_the_oldest_are_forgotten(asked, monkeypatch):
    monkeypatch.setattr(remembered, "MOST", 2)
    for cc in (1000, 1100, 1200, 1000):
        remembered.identified(session(config=Configuration(engine=Engine(displacement_cc=cc))))
    assert len(asked) == 4
