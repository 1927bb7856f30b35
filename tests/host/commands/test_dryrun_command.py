"""`dryrun` loses nobody's recordings and says which signals it had no use for, and which it lacked."""

import json

import pytest
from truth.desk import command

from ringpull.cli.main import parser_of
from ringpull.dryrun import run
from shared_math import boards

CONFIG = {
    "version": 1,
    "rate_hz": 50,
    "channels": [
        {"name": "lambda_1", "input": "a0", "kind": "lambda", "volts": [0, 5], "values": [0.6, 1.4]},
        {"name": "map", "input": "a1", "kind": "linear", "unit": "kPa", "volts": [0.5, 4.5], "values": [20, 300]},
        {"name": "engine_speed", "input": "p0", "kind": "pulses", "per_rev": 2},
    ],
}


def signals(folder, **more):
    folder.mkdir(exist_ok=True)
    (folder / "logger.json").write_text(json.dumps({**CONFIG, **more}))
    (folder / "volts.csv").write_text("t_s,lambda_1,oil\n0,2.5,1\n2,2.5,1\n")
    (folder / "edges.csv").write_text("t_s,input\n0.5,engine_speed\n0.6,engine_speed\n")
    words = ["dryrun", "--config", folder / "logger.json", "--volts", folder / "volts.csv"]
    return [*words, "--edges", folder / "edges.csv"]


@pytest.fixture(scope="module")
def card(tmp_path_factory):
    """A dry run's card and what was said."""
    folder = tmp_path_factory.mktemp("first")
    done = command(*signals(folder / "signals"), "-o", folder / "card")
    assert done.returncode == 0, done.stderr
    return folder, done


def test_columns_and_channels_that_have_no_other_are_told(card):
    _, done = card
    assert "note: column 'oil' is the name of no analog channel" in done.stderr
    assert "note: channel 'map' of the configuration has no column or edge" in done.stderr
    assert "engine_speed" not in done.stderr and "next: ringpull pulls" in done.stdout


def test_a_pulse_channel_without_an_edge_is_told(tmp_path):
    words = signals(tmp_path)
    (tmp_path / "edges.csv").write_text("t_s,input\n")
    done = command(*words, "-o", tmp_path / "card", "--json")
    made = json.loads(done.stdout)
    assert made["channels_without_signal"] == ["map", "engine_speed"] and made["columns_not_used"] == ["oil"]


def test_a_drive_is_replaced_only_if_told(card):
    folder, _ = card
    before = (folder / "card" / "drive.rpl").read_bytes()
    again = [*signals(folder / "signals"), "-o", folder / "card"]
    done = command(*again)
    assert done.returncode == 2 and "an earlier dry run" in done.stderr and done.stderr.count("\n") == 3
    assert (folder / "card" / "drive.rpl").read_bytes() == before
    assert command(*again, "--replace", "--strict").returncode == 1  # 'map' has no column


def test_a_column_that_is_nearly_a_channel_is_a_mistake(tmp_path):
    words = signals(tmp_path)
    (tmp_path / "volts.csv").write_text("t_s,lambda_1,Map \n0,2.5,1\n2,2.5,1\n")
    done = command(*words, "-o", tmp_path / "new" / "card")
    assert done.returncode == 2 and "did you mean 'map'?" in done.stderr and "has one named 'Map'" in done.stderr
    assert not (tmp_path / "new").exists()


def test_a_run_that_is_stopped_leaves_no_folder(tmp_path, monkeypatch):
    def stopped(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr("ringpull.dryrun.run._run", stopped)
    signals(tmp_path)
    paths = (tmp_path / name for name in ("logger.json", "volts.csv", "edges.csv"))
    with pytest.raises(KeyboardInterrupt):
        run.dry_run(*paths, None, tmp_path / "new" / "card")
    assert not (tmp_path / "new").exists()


def test_remarks_do_not_pass_to_another_drive(card):
    folder, _ = card
    remarks = folder / "card" / "notes.json"
    remarks.write_text('{"1": "old pump"}')
    before = (folder / "card" / "drive.rpl").read_bytes()
    done = command(*signals(folder / "signals"), "-o", folder / "card")
    assert done.returncode == 2 and "remarks" in done.stderr and done.stderr.count("\n") == 3
    assert remarks.exists() and (folder / "card" / "drive.rpl").read_bytes() == before
    assert command(*signals(folder / "signals"), "-o", folder / "card", "--replace").returncode == 0
    assert not remarks.exists()


def test_another_cards_drives_are_kept_unless_told(card, tmp_path):
    folder, _ = card
    before = (folder / "card" / "drive.rpl").read_bytes()
    other = signals(tmp_path, rate_hz=100)
    done = command(*other, "-o", folder / "card")
    assert done.returncode == 2 and "--replace" in done.stderr and done.stderr.count("\n") == 3
    assert (folder / "card" / "drive.rpl").read_bytes() == before
    assert command(*other, "-o", folder / "card", "--replace").returncode == 0
    assert (folder / "card" / "drive.rpl").read_bytes() != before


def test_a_loggers_own_recordings_are_never_replaced(card, tmp_path, monkeypatch):
    folder, _ = card
    monkeypatch.setattr("ringpull.dryrun.run.BOARD", "another")  # so that what is there was made by a board
    words = signals(folder / "signals")
    for more in ([], ["--replace"]):
        done = command(*words, "-o", folder / "card", *more)
        assert done.returncode == 2 and "holds what a logger recorded" in done.stderr


def test_a_prepared_card_is_free(tmp_path):
    words = signals(tmp_path / "signals")
    (tmp_path / "card").mkdir()
    assert command("prepare", tmp_path / "card", "--drive-mb", 1, "--pulls-mb", 1).returncode == 0
    assert command(*words, "-o", tmp_path / "card").returncode == 0


def test_help_names_boards_that_there_are_and_says_what_input_is():
    parser, _ = parser_of("dryrun")
    shown = " ".join(parser.format_help().split())
    assert "input (the name of the pulse channel)" in shown
    assert all(name in shown for name in boards.TITLES) and "stm32" not in shown


def test_times_in_milliseconds_are_refused(tmp_path):
    words = signals(tmp_path)
    (tmp_path / "buttons.csv").write_text("t_s,event\n500,press\n700,release\n")
    done = command(*words, "--buttons", tmp_path / "buttons.csv", "-o", tmp_path / "card")
    assert done.returncode == 2 and "go on to 700 s, but the volts end at 2 s" in done.stderr
    assert "milliseconds" in done.stderr and not (tmp_path / "card").exists()


def test_channels_of_the_bus_have_no_values_and_are_told(tmp_path):
    on_bus = {"name": "coolant", "kind": "obd", "pid": "coolant_temperature"}
    words = signals(tmp_path, bus={"ask": True}, channels=[CONFIG["channels"][0], CONFIG["channels"][2], on_bus])
    (tmp_path / "volts.csv").write_text("t_s,lambda_1\n0,2.5\n2,2.5\n")
    done = command(*words, "-o", tmp_path / "card", "--json", "--strict")
    assert done.returncode == 1 and "'coolant' comes from the car's bus, which is empty here" in done.stderr
    assert json.loads(done.stdout)["channels_without_signal"] == ["coolant"]
