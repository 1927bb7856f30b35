"""The lean warning against the outside: the lamp column of a dry run, the model's truth, the analysis, random
drives."""

import copy
import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from lean_replay import intervals, replay
from truth import drives

import ringpull
from ringpull.analysis.answer import answer
from ringpull.device import advice
from ringpull.dryrun import run
from ringpull.invented import instruments, scenario, truth
from shared_math import config, judging, layout, lean_watch

HELD_S = lean_watch.HELD_MS / 1000
SENSOR_S = 0.45  # gas on its way, sensor's lag, and the time between two looks, at most


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    """The demo's drive through the firmware: (the session, its truth, the drive as read)."""
    folder = tmp_path_factory.mktemp("lean")
    made = scenario.simulate(3)
    instruments.write(made, folder, 3)
    names = [folder / name for name in ("logger.json", "volts.csv", "edges.csv", "buttons.csv")]
    card = run.dry_run(*names, folder / "card", seed=3).card
    read = ringpull.read(card)
    return read.sessions[0], truth.truth(made, 3), read


def lamp_intervals(session):
    lamp = session.raw()["lamp"].to_numpy()
    return intervals(session.frame()["time_s"].to_numpy(), lamp == layout.LAMP_LEAN)


def test_the_lamp_tells_the_hole_and_nothing_else(demo):
    session, known, _ = demo
    hole = known["hole"]
    ((on_s, off_s),) = lamp_intervals(session)
    assert hole["from_s"] + judging.AFTER_S < on_s < hole["from_s"] + judging.AFTER_S + SENSOR_S
    assert on_s + HELD_S <= off_s < hole["to_s"] + HELD_S + SENSOR_S


def test_the_lamp_agrees_with_the_analysis(demo):
    session, _, read = demo
    found = answer(read)
    events = [event for pull in found.pulls for event in pull.lean_events]
    shown = lamp_intervals(session)
    assert len(events) == len(shown) == 1
    for event, (on_s, _) in zip(events, shown, strict=True):
        assert event.start_s < on_s < event.end_s + SENSOR_S
        assert event.depth > judging.MARGIN


def test_the_lamp_is_what_the_rows_say(demo):
    """The firmware's whole numbers against the decoded table in floats."""
    session, _, _ = demo
    time_s, on = replay(instruments.CONFIG, session.frame())
    ((on_s, off_s),) = lamp_intervals(session)
    ((replayed_on_s, replayed_off_s),) = intervals(time_s, on)
    assert replayed_on_s == pytest.approx(on_s, abs=0.2)
    assert replayed_off_s == pytest.approx(off_s, abs=0.2)


SEEDS = (range(7), pytest.param(range(7, 14), marks=pytest.mark.slow))


@pytest.fixture(scope="module", params=SEEDS, ids=["some", "more"])
def random_drives(request):
    """[(drive, [(from, to) of warnings])] of cars, roads and holes that nobody chose."""
    out = []
    for seed in request.param:
        made = drives.make_drive(seed)
        settings = copy.deepcopy(made.config)
        for one in settings["channels"]:
            if one["kind"] == "lambda":  # a controller that tells its warm-up: else nothing is judged for 30 s
                one.setdefault("states", [{"name": "warm-up", "volts": [-0.4, -0.3]}])
        out.append((made, intervals(*replay(settings, pd.DataFrame(made.rows)))))
    return out


def test_random_drives_never_warn_where_nothing_was_lean(random_drives):
    pulls = 0
    for made, shown in random_drives:
        excess = made.truth.lambda_cylinder - made.truth.target
        time_s = made.rows["time_s"]
        pulls += len(made.pulls)
        for on_s, off_s in shown:
            before = (time_s > on_s - 1.2) & (time_s < on_s)
            assert excess[before].max() > judging.MARGIN - 0.02, (made.seed, on_s, off_s)
            assert any(pull.start_s < on_s < pull.end_s + SENSOR_S for pull in made.pulls), (made.seed, on_s)
    assert pulls > 3 * len(random_drives)


def test_random_drives_warn_of_every_hole_that_lasts(random_drives):
    seen = 0
    for made, shown in random_drives:
        for hole in made.truth.holes:
            time_s = made.rows["time_s"]
            near = (time_s > hole.start_s - 0.2) & (time_s < hole.end_s + 0.2)
            excess = (made.truth.lambda_cylinder - made.truth.target)[near]
            if np.count_nonzero(excess > 0.06) / 200 >= 0.45 and excess.max() > 0.07:
                seen += 1
                assert any(hole.start_s < on_s < hole.end_s + SENSOR_S for on_s, _ in shown), (made.seed, hole)
    assert seen >= 2


def test_check_says_where_there_is_no_warning():
    def told(**changes):
        made = copy.deepcopy(instruments.CONFIG)
        made.update(board="rp2", **changes)
        assert config.check(made) == []
        return [
            (code, advice.explain((code, where, detail)))
            for code, where, detail in advice.advice(made)
            if "lean" in code  # the battery's input is not one of this board's, which is told too
        ]

    assert told() == []
    ((code, (what, *_)),) = told(target={"lambda": 0.8})
    assert code == "no_lean_warning" and "a target that depends on the load" in what
    assert told(target={"lambda": 0.8}, lean_warning=False) == []
    silent = copy.deepcopy(instruments.CONFIG["channels"])
    del silent[0]["states"]
    ((code, (what, why, step)),) = told(channels=silent)
    assert code == "lean_no_room_for_state" and "30 s" in what and '"lambda_1"' in why and "0.5 V" in step
    silent[0]["volts"] = [0.5, 4.5]
    ((code, (what, why, step)),) = told(channels=silent)
    assert code == "lean_after_warm_up" and "30 s" in what and '"lambda_1"' in why and "[{" in step


@pytest.mark.parametrize(
    ("text", "number"),
    [
        ('{"version": 1, "channels": [{"name": "map", "input": "a1", "kind": "linier"}]}', 12),
        ('{"version": 1, "screen": true "channels": []}', 12),
    ],
)
def test_the_device_starts_with_a_spoiled_configuration(tmp_path, text, number):
    """In a small board's heap, although the words for the screen are looked up."""
    path = tmp_path / "logger.json"
    path.write_text(text)
    volts = tmp_path / "volts.csv"
    volts.write_text("t_s,raw_a0\n0,1\n3,1\n")
    with pytest.MonkeyPatch.context() as patch:
        default = run.load_config(_good(tmp_path))
        patch.setattr(run, "load_config", lambda _path: default)
        card = run.dry_run(path, volts, None, None, tmp_path / "card").card
    session = ringpull.read(card).sessions[0]
    assert set(session.raw()["lamp"]) == {layout.LAMP_FAULT + number}


def _good(folder: Path) -> Path:
    path = folder / "good.json"
    channel = {"name": "raw_a0", "input": "a0", "kind": "linear", "unit": "V", "volts": [0, 5.5], "values": [0, 5.5]}
    path.write_text(json.dumps({"version": 1, "channels": [channel]}))
    return path


def test_a_screen_that_is_configured_and_not_there_costs_nothing(tmp_path):
    made = dict(instruments.CONFIG, screen=True, lean_warning={"buzzer": True})
    path = tmp_path / "logger.json"
    path.write_text(json.dumps(made))
    volts = tmp_path / "volts.csv"
    volts.write_text("t_s,map\n0,1\n3,1\n")
    card = run.dry_run(path, volts, None, None, tmp_path / "card").card
    assert set(ringpull.read(card).sessions[0].raw()["lamp"]) == {layout.LAMP_RECORDING}
