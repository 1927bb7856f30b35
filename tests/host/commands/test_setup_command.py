"""`ringpull setup`: every preset and every way through the questions gives a configuration that passes the checks."""

import io
import json

import pytest

from ringpull.cli.main import main
from ringpull.device import advice, questions, starter_configs
from ringpull.errors import BadUsage
from shared_math import channels, config


@pytest.mark.parametrize("name", starter_configs.PRESETS)
def test_presets_pass_the_checks(tmp_path, capsys, name):
    path = tmp_path / "logger.json"
    assert main(["setup", "--preset", name, "-o", str(path)]) == 0
    told = capsys.readouterr().out
    made = json.loads(path.read_text())
    assert config.check(made) == []
    assert main(["check", str(path)]) == 0
    # each channel is explained, and so is what the signs of the file mean
    for channel in made["channels"]:
        assert f"terminal  {channel['input']}:" in told
    assert "double quotes" in told and f"ringpull check {path}" in told
    assert not [one for one in advice.advice(made) if one[0] in ("fast_for_interrupts", "duty_without_speed")]
    channels.columns(config.defaults(made), lambda _: (12, 3.3, 0))


def test_each_preset_is_its_own():
    made = [json.dumps(starter_configs.config_of(plan)) for plan in starter_configs.PRESETS.values()]
    assert len(set(made)) == len(made)
    for plan in starter_configs.PRESETS.values():
        assert plan.tach == starter_configs.tach_of(plan.cylinders, plan.strokes)
        assert len(plan.load_kpa) in (0, len(plan.target))


def test_nothing_is_overwritten_unasked(tmp_path, capsys):
    path = tmp_path / "logger.json"
    path.write_text("mine")
    assert main(["setup", "--preset", "e85", "-o", str(path)]) == 2
    assert path.read_text() == "mine" and capsys.readouterr().err.count("\n") == 3
    assert main(["setup", "--preset", "e85", "-o", str(path), "--force"]) == 0
    assert json.loads(path.read_text())["fuel"] == {"name": "e85"}


def answered(*said):
    """(plan, what was told) of an interview with these answers, Enter for the rest."""
    left = list(said)
    told = []
    plan = questions.Interview(lambda _: left.pop(0) if left else "", told.append).plan()
    return plan, told


def test_enter_all_the_way_is_the_preset():
    plan, _ = answered("na-petrol")
    assert starter_configs.config_of(plan) == starter_configs.config_of(starter_configs.PRESETS["na-petrol"])


def test_answers_stand_in_the_file():
    said = ["two", "3", "", "749,5", "methanol", "", "yes", "12500"]  # three cylinders on their own coils' wire
    said += ["yes", "0,5", "4,5", "8.82", "20.58", "14,7", "yes", "0", "0.2"]
    said += ["yes", "0,6", "4.35", "24", "108", "no", "yes", "2", "esp"]
    plan, _ = answered(*said)
    made = starter_configs.config_of(plan)
    assert config.check(made) == []
    assert made["engine"] == {"cylinders": 3, "strokes": 2, "displacement_cc": 749.5}
    assert made["fuel"] == {"name": "methanol"} and made["board"] == "esp32"
    lam, speed, load, injector = made["channels"]
    assert lam["scale"] == "afr" and lam["stoich"] == 14.7
    assert lam["volts"] == [0.5, 4.5] and lam["values"] == [8.82, 20.58]
    assert lam["states"] == [{"name": "warm-up", "volts": [0.0, 0.2]}]
    assert speed["per_rev"] == 3 and speed["max_rpm"] == 12500 and speed["ringing_us"] == 300
    assert load["volts"] == [0.6, 4.35] and load["values"] == [24.0, 108.0]
    assert injector["per_cycle"] == 2


def test_wrong_answers_are_asked_again():
    plan, told = answered(
        "boosted", "four", "400", "4.5", "5", "4", "1600", "petrol", "2.5", "no", "9000", "no", "0", "0", "5"
    )
    assert plan.cylinders == 5 and plan.volts == (0.0, 5.0)
    for words in ("a number, such as", "out of range", "a whole number", "can't both be"):
        assert any(words in line for line in told), words


def test_an_end_of_input_is_told(tmp_path, monkeypatch, capsys):
    monkeypatch.setattr("sys.stdin", io.StringIO("boosted-petrol\n4\n"))
    assert main(["setup", "-o", str(tmp_path / "logger.json")]) == 2
    assert "answers ended" in capsys.readouterr().err
    assert not (tmp_path / "logger.json").exists()


@pytest.mark.parametrize("place", ["nowhere/logger.json", "a_folder"])
def test_where_it_can_not_be_written_is_told_before_any_question(tmp_path, monkeypatch, capsys, place):
    (tmp_path / "a_folder").mkdir()
    monkeypatch.setattr("sys.stdin", io.StringIO("\n" * 60))
    assert main(["setup", "--force", "-o", str(tmp_path / place)]) == 2
    told = capsys.readouterr().err
    assert told.count("\n") == 3 and "?" not in told


def test_what_can_not_be_measured_is_refused_in_words(tmp_path, monkeypatch):
    """A coil's ringing is longer than half of the shortest period of twelve sparks a turn at 9000 rpm."""
    said = ["boosted", "", "", "", "", "12", "yes", ""]
    monkeypatch.setattr("sys.stdin", io.StringIO("\n".join(said) + "\n" * 40))
    assert main(["setup", "-o", str(tmp_path / "logger.json")]) == 2
    with pytest.raises(BadUsage):
        questions.Interview(lambda _: (_ for _ in ()).throw(EOFError), print).plan()


def test_answers_that_do_not_go_together_are_asked_again_and_none_is_lost():
    first = ["boosted-petrol", "6", "4", "2500", "e85", "12", "yes", "9000"]
    plan, told = answered(*first, "", "", "", "", "3", "", "7500")
    assert (plan.cylinders, plan.displacement_cc, plan.fuel, plan.tach, plan.max_rpm) == (6, 2500, "e85", 3, 7500)
    (said,) = [line for line in told if "don't go together" in line]
    assert "engine_speed" in said and "what to do" in said
    assert config.check(starter_configs.config_of(plan)) == []


def test_a_board_too_slow_for_the_engine_is_told_and_the_engine_asked_again():
    fast_wheel = ["boosted-petrol", "", "", "", "", "60", "no", "15000"]
    assert answered(*fast_wheel)[0].tach == 60  # an RP2040 takes it
    plan, told = answered(*fast_wheel, *[""] * 15, "esp32", "", "", "", "", "2", "", "9000")
    assert any("don't go together" in line for line in told)
    assert (plan.board, plan.tach, plan.max_rpm) == ("esp32", 2, 9000)
    assert config.check(starter_configs.config_of(plan)) == []
