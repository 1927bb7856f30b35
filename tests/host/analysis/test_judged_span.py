"""What judging one pull tells, against what its drive was made of."""

import numpy as np
import pytest
from analysis_scenes import Hole, rewriting, scene

from ringpull.analysis.judge import masks, session

# 175 kPa between 0.88 at 100 and 0.79 at 200
TARGET = 0.8125


@pytest.fixture(scope="module")
def made():
    """Two pulls of 6.14 s, the second with a hole."""
    return scene(pulls=2, hole=Hole(2, 4500, 5000, 0.08))


def test_the_figures_of_a_pull(made):
    ready = session.prepare(made.columns, identified=False)
    assert ready.identified is None and "electrical" not in ready.masks.by_name
    assert "delay_assumed" not in ready.masks.by_name and not ready.masks.by_name["no_target"].any()
    told = session.judge_span(ready, *made.spans[1])
    # judged from 0.8 s after the throttle opened, at 700 rpm a second from 2500
    assert told.rpm_from == pytest.approx(2500 + 700 * 0.8, abs=80) and told.rpm_to == pytest.approx(6800, abs=80)
    assert told.lambda_min == pytest.approx(TARGET, abs=0.015)
    assert told.lambda_max == pytest.approx(TARGET + 0.08, abs=0.015)
    assert told.lambda_mean == pytest.approx(TARGET + 0.08 * 500 / 3740, abs=0.01)
    assert told.loaded_s == pytest.approx(6.1, abs=0.3) and told.judged_s == pytest.approx(5.34, abs=0.2)
    assert told.excess_max == pytest.approx(0.08, abs=0.01) and 4400 < told.excess_at_rpm < 5100
    assert (told.lost_s, told.blind, told.hidden, told.spoiled_events) == (0.0, [], (), [])
    (event,) = told.lean_events
    assert event.target == pytest.approx(TARGET, abs=0.01)
    assert told.spool is not None and told.spool.judged_s < 0.8 and not told.spool.lean
    assert session.judge_span(ready, *made.spans[0]).lean_events == []


def test_a_pull_that_is_spoiled_keeps_its_event_apart(made):
    ready = session.prepare(made.columns, spoiled=[made.spans[1]], identified=False)
    told = session.judge_span(ready, *made.spans[1])
    assert told.lean_events == [] and len(told.spoiled_events) == 1 and told.judged_s == 0.0
    assert told.rpm_from < 2600 and told.lambda_max == pytest.approx(TARGET + 0.08, abs=0.015)


def test_a_bank_without_a_reading_in_a_pull_leaves_the_other_to_judge_it(made):
    columns = scene(pulls=2, hole=Hole(2, 4500, 5000, 0.08)).columns
    with rewriting(columns) as written:
        written["channels"].append(written["channels"][0] | {"name": "lambda_2", "input": "a3"})
    second = columns.lambda_.copy()
    second[columns.rows(made.spans[1][0] - 1.0, made.spans[1][1] + 1.0)] = np.nan
    columns.banks["lambda_2"] = second
    told = session.judge_span(session.prepare(columns, identified=False), *made.spans[1])
    assert told.excess_max == pytest.approx(0.08, abs=0.01) and told.blind == ["lambda_2"]
    assert len(told.lean_events) == 1


def test_a_sensor_that_is_silent_or_tells_a_state():
    """A row has lambda if any bank gives it; heating is told apart from other states."""
    columns = scene(pulls=1).columns
    with rewriting(columns) as written:
        written["channels"][0]["states"] = [
            {"name": "cold", "volts": [0.0, 0.1], "means": "heating"},
            {"name": "x", "volts": [4.9, 5.0], "means": "off"},
        ]
    rows = len(columns)

    def flagged(first, last):
        return (np.arange(rows) >= first) & (np.arange(rows) < last)

    columns.states = {("lambda_1", "cold"): flagged(100, 200), ("lambda_1", "x"): flagged(300, 400)}
    columns.lambda_[500:600] = np.nan
    heating, other = masks.sensors_off(columns)
    assert heating.tolist() == flagged(100, 200).tolist()
    assert other.tolist() == (flagged(300, 400) | flagged(500, 600)).tolist()
    # another bank that gives lambda there
    with rewriting(columns) as written:
        written["channels"].append(written["channels"][0] | {"name": "lambda_2", "input": "a3", "states": []})
    columns.banks["lambda_2"] = np.ones(rows)
    columns.lambda_ = np.fmax(columns.lambda_, 0.5)
    heating, other = masks.sensors_off(columns)
    assert not heating.any() and not other.any()


def test_a_silent_sensor_alone_is_no_electrical_event():
    columns = scene(pulls=1).columns
    columns.lambda_[columns.rows(2.0, 2.5)] = np.nan
    columns.banks["lambda_1"] = columns.lambda_
    named = session.prepare(columns, identified=False).masks.by_name
    assert "electrical" not in named and named["controller_state"][columns.rows(2.1, 2.3)].all()


def test_time_that_the_grid_leaves_out_is_told_to_the_row():
    made = scene(pulls=1)
    columns, (start, end) = made.columns, made.spans[0]
    columns.time_s[columns.time_s >= start + 3.0] += 300.005
    told = session.judge_span(session.prepare(columns, identified=False), start, end + 300.005)
    assert told.left_out["not_recorded"] == pytest.approx(300.005, abs=1e-6)
