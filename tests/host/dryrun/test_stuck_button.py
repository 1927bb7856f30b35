"""A button that is never let go loses no drive: the recording goes on, and the lamp tells of it."""

import json

import numpy as np
import pytest

import ringpull
from ringpull.cli.main import main
from ringpull.dryrun.run import dry_run
from ringpull.invented import instruments
from shared_math import faults, layout

RATE_HZ = 50
CONFIG = {
    "version": 1,
    "rate_hz": RATE_HZ,
    "channels": [
        {"name": "map", "input": "a1", "kind": "linear", "unit": "kPa", "volts": [0.5, 4.5], "values": [20, 300]}
    ],
}
NUMBER = faults.FAULTS["button_stuck"][0]


def drive(folder, *events, until_s):
    """The sessions of a drive with these (time in s, "press" or "release")."""
    (folder / "logger.json").write_text(json.dumps(CONFIG))
    (folder / "volts.csv").write_text(f"t_s,map\n0,2.8\n{until_s},2.8\n")
    lines = [f"{at},{what}" for at, what in events]
    (folder / "buttons.csv").write_text("\n".join(["t_s,event", *lines]) + "\n")
    dry_run(folder / "logger.json", folder / "volts.csv", None, folder / "buttons.csv", folder / "card")
    return ringpull.read(folder / "card").sessions


def told(session):
    """The seconds in which the lamp tells of a stuck button."""
    raw = session.raw()
    return raw["row"].to_numpy()[raw["lamp"].to_numpy() == layout.LAMP_FAULT + NUMBER] / RATE_HZ


def test_the_drive_goes_on_beside_a_button_that_stays_pressed(tmp_path, capsys):
    before, after = drive(tmp_path, (5.0, "press"), until_s=40.0)
    assert [mark.void for mark in before.marks] == [True] and after.marks == []
    assert before.duration_s + after.duration_s > 40.0 - 10.0 - 2.0  # ten seconds to tell it from a long press
    seconds = told(after)
    assert 9.9 < seconds.min() < 12.0 and seconds.max() > after.duration_s - 0.1
    assert np.all(np.diff(seconds) < 1.5 / RATE_HZ)
    assert before.lamp_faults == {}
    assert after.lamp_faults == {NUMBER: [pytest.approx((seconds.min(), seconds.max() + 1 / RATE_HZ))]}
    assert main(["info", str(tmp_path / "card")]) == 0
    assert f"told fault {NUMBER} at {seconds.min():.1f}-" in " ".join(capsys.readouterr().out.split())


def test_once_it_is_free_it_marks_again_and_the_lamp_is_silent(tmp_path):
    events = [(5.0, "press"), (32.0, "release"), (34.0, "press"), (34.2, "release"), (36.0, "press"), (36.2, "release")]
    _, after = drive(tmp_path, *events, until_s=40.0)
    (mark,) = after.marks
    assert not mark.void and abs(mark.end_s - mark.start_s - 2.0) < 0.05
    released_s = after.duration_s - 8.0
    assert released_s - 0.1 < told(after).max() < released_s + 1.2


def test_a_long_press_that_is_let_go_stops_until_the_next(tmp_path):
    before, after = drive(tmp_path, (5.0, "press"), (8.0, "release"), (20.0, "press"), (20.2, "release"), until_s=30.0)
    assert 6.4 < before.duration_s < 7.0 and 9.0 < after.duration_s < 10.0
    assert after.marks == [] and len(told(after)) == 0


def test_the_demos_drive_goes_on_after_a_long_press_and_another(tmp_path):
    """All of its channels: a desk board begins again in a heap that the recording before has used."""
    config = instruments.CONFIG
    analog = [one["name"] for one in config["channels"] if one.get("input", "p")[0] in "ax"]
    (tmp_path / "logger.json").write_text(json.dumps(config))
    rows = [f"{t}," + ",".join(f"{2.0 + 0.3 * np.sin(t + n):.3f}" for n in range(len(analog))) for t in range(27)]
    (tmp_path / "volts.csv").write_text("\n".join(["t_s," + ",".join(analog), *rows]) + "\n")
    presses = [f"{at},press\n{at + held},release" for at, held in ((3, 0.2), (6, 0.2), (9, 2.0), (14, 0.2), (20, 0.2))]
    (tmp_path / "buttons.csv").write_text("\n".join(["t_s,event", *presses]) + "\n")
    dry_run(tmp_path / "logger.json", tmp_path / "volts.csv", None, tmp_path / "buttons.csv", tmp_path / "card")
    first, second = ringpull.read(tmp_path / "card").sessions
    assert 10.0 < first.duration_s < 11.0 and second.duration_s > 11.0 and len(second.marks) == 1
