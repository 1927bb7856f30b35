"""`ringpull setup`: every preset and every way through the questions gives a configuration that passes the checks."""

import io
import json
import re
from dataclasses import replace

import pytest

from ringpull.cli.main import main
from ringpull.device import advice, answers, judgement, questions, starter_configs, wiring_lines
from ringpull.errors import BadUsage
from shared_math import boards, channels, config


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


def test_a_free_input_measures_the_signal_wire_of_lambda_once_more():
    """The minimum build wires it to a2, where others have the throttle."""
    free = starter_configs.PRESETS["two-stroke"]
    bare = replace(free, throttle_volts=None)
    full = replace(free, second_lambda=True)
    for plan, there in ((bare, "a2"), (free, "a1"), (starter_configs.BOOSTED, ""), (full, "")):
        made = starter_configs.config_of(plan)
        found = [one for one in made["channels"] if "checks" in one]
        assert bool(found) is bool(there) and config.check(made) == []
        if there:
            (wire,) = found
            assert (wire["input"], wire["checks"], wire["unit"]) == (there, "lambda_1", "V")
            assert channels.divider_of(wire) == (16800, 10000)  # hardware/circuit/blocks/differential.py: R1 + R2, R3
            (line,) = [one for one in wiring_lines.lines(made, plan.source) if "lambda_1_wire" in one]
            assert line.startswith(f"{there} ") and "W0-R1" in line and {"a1": "GP27", "a2": "GP28"}[there] in line
            slow = starter_configs.config_of(replace(plan, board="esp32"))["channels"][-1]
            assert (wire["volts"], slow["volts"]) == ([0, 8], [0.5, 8])


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
    for name, preset in starter_configs.PRESETS.items():
        plan, _ = answered(name)
        assert starter_configs.config_of(plan) == starter_configs.config_of(preset)


def test_answers_stand_in_the_file():
    said = ["two", "esp", "3", "", "749,5", "methanol", "coil", "", "", "12,500"]  # three cylinders, a coil each
    said += ["yes", "0,5", "4,5", "8.82", "20.58", "14,7", "yes", "0", "0.2", "no"]
    said += [
        "yes",
        "0,6",
        "4.35",
        "24",
        "108",
        "",
        "",
        "0.95",
        "0.85",
        "no",
        "yes",
        "",
        "",
        "0",
        "7 bar",
        "yes",
        "yes",
        "2",
    ]
    plan, _ = answered(*said)
    made = starter_configs.config_of(plan)
    assert config.check(made) == []
    assert made["engine"] == {"cylinders": 3, "strokes": 2, "displacement_cc": 749.5}
    assert made["fuel"] == {"name": "methanol"} and made["board"] == "esp32"
    lam, speed, load, fuel, battery, injector = made["channels"]
    assert lam["scale"] == "afr" and lam["stoich"] == 14.7
    assert lam["volts"] == [0.5, 4.5] and lam["values"] == [8.82, 20.58]
    assert lam["states"] == [{"name": "warm-up", "volts": [0.0, 0.2], "means": "heating"}]
    assert speed["per_rev"] == 1 and speed["max_rpm"] == 12500 and speed["ringing_us"] == 300
    assert load["volts"] == [0.6, 4.35] and load["values"] == [24.0, 108.0]
    assert made["target"] == {"load": "map", "load_kpa": [40, 100], "lambda": [0.95, 0.85]}
    assert fuel["input"] == "a2" and fuel["values"] == [0.0, 700.0]
    assert battery["input"] == "a3" and battery["divider"] == {"top_ohm": 47000, "bottom_ohm": 10000}
    assert injector["per_cycle"] == 2 and injector["input"] == "p1"
    assert judgement.judge(made).impossible == ()


def test_the_target_is_given_at_loads_of_ones_own():
    asked = []

    def ask(prompt):
        asked.append(prompt)
        if prompt.startswith("At which pressures"):
            return "100 80" if not any("At which" in one for one in asked[:-1]) else "80, 120 200 kPa"
        return "1.0" if "wanted at 80" in prompt else ""

    told = []
    plan = questions.Interview(ask, told.append).plan()
    assert plan.load_kpa == (80.0, 120.0, 200.0) and plan.target[0] == 1.0
    assert any("higher than the one before" in line for line in told)
    assert config.check(starter_configs.config_of(plan)) == []
    wanted = [prompt for prompt in asked if prompt.startswith("Lambda wanted at")]
    assert [prompt.split()[3] for prompt in wanted] == ["80", "120", "200"]


def at_the_bus(*said):
    """(configuration, what was told) where only the questions about the car's bus are answered."""
    left, told = list(said), []

    def ask(prompt):
        if prompt.startswith(("What is to be taken", "Which values", "The DBC file", "Which of these? (blanks")):
            return left.pop(0) if left else ""
        return ""

    made = starter_configs.config_of(questions.Interview(ask, told.append).plan())
    assert config.check(made) == []
    return made, " ".join(told)


def test_nothing_is_taken_from_the_bus_unless_somebody_says_so():
    made, told = at_the_bus()
    assert "bus" not in made and "the logger sends" not in told


def test_asking_the_car_is_told_as_sending_and_brings_the_trims_state():
    for chosen, count in (("", 4), ("more", 8)):
        made, told = at_the_bus("ask", chosen)
        assert made["bus"] == {"ask": True} and "the logger sends" in told and "Nothing is written" in told
        assert sum(one["kind"] == "obd" for one in made["channels"]) == count
        judged = judgement.judge(made)
        assert judged.works and "trims_alone" not in [point.code for point in judged.first]


def test_listening_takes_signals_of_a_dbc_file_and_never_asks(tmp_path):
    file = tmp_path / "car.dbc"
    file.write_text('BO_ 1520 Engine: 8 ECU\n SG_ OilPressure : 7|16@0+ (0.1,0) [0|1000] "kPa" Logger\n')
    made, told = at_the_bus("listen", str(tmp_path / "no.dbc"), str(file), "OilPressure")
    assert "can't be read" in told and "OilPressure" in told and made["bus"] == {"ask": False}
    assert made["channels"][-1]["name"] == "oil_pressure"
    made, told = at_the_bus("listen", "")
    assert "bus" not in made and "--dbc" in told


def test_all_values_of_the_cars_computer_are_listed(capsys):
    assert main(["setup", "--values"]) == 0
    lines = capsys.readouterr().out.splitlines()
    (line,) = [one for one in lines if one.startswith("spark_advance ")]
    assert line.split() == ["spark_advance", "0E", "10", "deg"] and len(lines) > 100


def test_all_boards_are_offered():
    assert all(answered("", board)[0].board == board for board in boards.TITLES)
    assert answered("", "RP2040")[0].board == "rp2"


def test_wrong_answers_are_asked_again():
    said = ["boosted", "", "four", "400", "4.5", "5", "4", "1600", "petrl", "petrol", "line", "2.5", "900", "9000"]
    plan, told = answered(*said, "no", "0", "0", "5")
    assert plan.cylinders == 5 and plan.volts == (0.0, 5.0)
    for words in ("a number, such as", "out of range", "a whole number", "can't both be", "Did you mean petrol?"):
        assert any(words in line for line in told), words


def test_the_coil_is_asked_for_before_its_pulses():
    for fired, per_rev in (("1", 0.5), ("2", 1), ("4", 2)):
        plan, _ = answered("", "", "", "", "", "", "coil", fired)
        assert starter_configs.config_of(plan)["channels"][1]["per_rev"] == per_rev
    plan, _ = answered("", "", "", "", "", "", "wheel")
    assert plan.tach == 36 and "ringing_us" not in starter_configs.config_of(plan)["channels"][1]


def test_words_and_figures_of_the_trade_are_understood():
    plan, _ = answered("", "", "", "", "1,998", "gasoline", "", "", "7,200")
    assert (plan.fuel, plan.displacement_cc, plan.max_rpm) == ("petrol", 1998, 7200)


ENGINE = [""] * 9  # preset, board and the engine
CONTROLLER = [""] * 7


def test_pressures_in_bar_are_refused_unless_they_say_so():
    plan, told = answered(*ENGINE, *CONTROLLER, "", "", "", "", "1", "2", "2.5 bar")
    assert plan.map_kpa == (20, 250)
    assert [line for line in told if "looks like bar" in line and "200 kPa" in line]
    plan, told = answered(*ENGINE, *CONTROLLER, "", "", "", "", "", "2", "220")
    assert plan.load_kpa == (40, 100, 150, 220) and plan.target == (1.0, 0.9, 0.82, 0.78)
    assert [line for line in told if "looks like bar" in line]
    assert answered(*ENGINE, *CONTROLLER, "", "", "", "3 psi", "43.5 psi")[0].map_kpa[1] == pytest.approx(300, abs=0.1)


def test_the_target_is_asked_for_load_by_load():
    plan, _ = answered(*ENGINE, *CONTROLLER, "", "", "", "", "", "", "", "1.0", "0.88", "0.84", "0.8")
    assert starter_configs.config_of(plan)["target"]["lambda"] == [1.0, 0.88, 0.84, 0.8]
    plan, _ = answered(*ENGINE, *CONTROLLER, "no", "0.81")
    assert starter_configs.config_of(plan)["target"] == {"lambda": 0.81}


def test_what_the_board_has_no_input_for_goes_to_an_external_converter():
    said = [*ENGINE, *CONTROLLER[:-1], "yes", *[""] * 11, *[""] * 3, "yes", "", "", "", "", "yes", "no"]
    made = starter_configs.config_of(answered(*said)[0])
    places = {channel["name"]: channel["input"] for channel in made["channels"]}
    assert places == {
        "lambda_1": "a0",
        "engine_speed": "p0",
        "map": "a1",
        "throttle": "a2",
        "lambda_2": "x0",
        "fuel_pressure": "x1",
        "battery": "x7",
    }
    assert made["converters"] == {"x": "mcp3208"} and judgement.judge(made).works
    assert [channel.get("bank") for channel in made["channels"]][:1] == [1]
    said[1] = "esp32"
    made = starter_configs.config_of(answered(*said)[0])
    assert {channel["name"]: channel["input"] for channel in made["channels"]}["battery"] == "a3"


def test_enter_after_going_back_keeps_the_answer_that_stood_there():
    asked = []
    left = ["na-petrol", "", "6", "back", "", "two", "back", ""]

    def ask(prompt):
        asked.append(prompt)
        return left.pop(0) if left else ""

    plan = questions.Interview(ask, lambda _: None).plan()
    assert plan.cylinders == 6 and plan.strokes == 2
    assert [one for one in asked if one.startswith("Cylinders")][1].endswith("[6] ")


def test_back_returns_to_the_question_before_and_keeps_the_others():
    asked = []
    left = ["na-petrol", "", "6", "back", "8", "", "back", "<", "5", "", "2,500"]

    def ask(prompt):
        asked.append(prompt.split("?")[0])
        return left.pop(0) if left else ""

    plan = questions.Interview(ask, lambda _: None).plan()
    assert (plan.cylinders, plan.displacement_cc, plan.max_rpm) == (5, 2500, 8000)
    assert asked[2:12] == [
        *("Cylinders", "Two-stroke or four-stroke", "Cylinders", "Two-stroke or four-stroke"),
        *("Displacement of all cylinders, in cubic centimetres", "Two-stroke or four-stroke", "Cylinders"),
        *("Two-stroke or four-stroke", "Displacement of all cylinders, in cubic centimetres"),
        asked[11],
    ]
    assert answered("back", "back", "na-petrol")[0].what == starter_configs.FREE.what


@pytest.mark.parametrize(
    ("said", "number"),
    [
        *(("7,200", 7200), ("7 200", 7200), ("12'500", 12500), ("749,5", 749.5), ("0,500", 0.5), ("1,333", 1333)),
        *(("7200 rpm", 7200), ("-0.5", -0.5), ("4.5V", 4.5), ("four", None), ("", None), ("1,2,3", None)),
    ],
)
def test_numbers_as_people_write_them(said, number):
    assert answers.number(said, -10, 30000) == number
    assert answers.number("1,333", 0, 5) == 1.333


def test_the_lines_to_wire_stand_at_the_end(tmp_path, capsys):
    path = tmp_path / "logger.json"
    assert main(["setup", "--preset", "boosted-petrol", "-o", str(path)]) == 0
    told = capsys.readouterr().out
    for words in ("T1  switched 12 V", "GP26", "-> T3", "-> T5", "T7", "180 kilohm", "fuse goes in last"):
        assert words in told, words


def test_the_pads_are_the_circuits_own():
    from hardware.circuit import boards as soldered

    for board in soldered.ALL:
        pads = {name: pad for name, (_, pad, _) in board.pins.items() if name[0] in "apd" and name[1:].isdigit()}
        assert wiring_lines.PADS[board.name] == pads


def test_every_channel_that_setup_makes_has_its_line():
    plan = replace(
        starter_configs.BOOSTED, second_lambda=True, fuel_kpa=(0, 1000), battery=True, injector=1, source="coil"
    )
    for board in boards.TITLES:
        made = starter_configs.config_of(replace(plan, board=board))
        assert config.check(made) == []
        lines = wiring_lines.lines(made, "coil")
        for channel in made["channels"]:
            assert [line for line in lines if line.startswith(f"{channel['input']}  {channel['name']}: ")]
    assert "400 V" in "".join(lines) and set(wiring_lines.SPEED) == {"coil", "line", "wheel"}


@pytest.mark.parametrize("source", ["coil", "line"])
def test_what_protects_a_wire_at_its_far_end_is_named(source):
    """Fuses and resistors of the circuit's terminals, each in the line of its terminal; of the builds on perfboard."""
    from hardware.circuit import builds

    made = starter_configs.config_of(replace(starter_configs.BOOSTED, source=source))
    made["channels"].append({"name": "spark", "kind": "obd", "pid": "0E"})
    lines = wiring_lines.lines(made, source)
    build = builds.FULL if source == "coil" else builds.MINIMUM
    named = 0
    for terminal in build.terminals:
        for _, part in build.far_parts(terminal):
            if part.ref[0] not in "FR":
                continue
            (line,) = [line for line in lines if re.search(rf"\b{terminal}\b", line)]
            wanted = {"F1": "1 A fuse", "F2": "P-F2"}.get(part.ref, part.value.replace("k", " kilohm"))
            assert wanted in line, (terminal, part.ref, line)
            named += 1
    assert named >= 5 and "board/made/wiring.md" in lines[0]


def test_the_bus_has_its_line_where_a_channel_comes_from_it():
    made = starter_configs.config_of(starter_configs.BOOSTED)
    assert not [line for line in wiring_lines.lines(made, "coil") if "T23" in line]
    made["channels"].append({"name": "spark", "kind": "obd", "pid": "0E"})
    (line,) = [line for line in wiring_lines.lines(made | {"bus": {"ask": False}}, "coil") if "T23" in line]
    assert "pins 6, 14 and 5" in line and line.endswith("only listen")
    (line,) = [line for line in wiring_lines.lines(made | {"bus": {"ask": True}}, "coil") if "T23" in line]
    assert "JP1 and JP2 closed" in line


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
    said = ["boosted", "", "", "", "", "", "coil", "", "12", ""]
    monkeypatch.setattr("sys.stdin", io.StringIO("\n".join(said) + "\n" * 60))
    assert main(["setup", "-o", str(tmp_path / "logger.json")]) == 2
    with pytest.raises(BadUsage):
        questions.Interview(lambda _: (_ for _ in ()).throw(EOFError), print).plan()


def test_answers_that_do_not_go_together_are_asked_again_and_none_is_lost():
    first = ["boosted-petrol", "", "6", "4", "2500", "e85", "coil", "6", "12", "9000"]
    plan, told = answered(*first, "", "", "", "", "", "", "3", "7500")
    assert (plan.cylinders, plan.displacement_cc, plan.fuel, plan.tach, plan.max_rpm) == (6, 2500, "e85", 3, 7500)
    (said,) = [line for line in told if "don't fit together" in line]
    assert "engine_speed" in said and "what to do" in said
    assert config.check(starter_configs.config_of(plan)) == []


def test_a_board_too_slow_for_the_engine_is_told_and_the_engine_asked_again():
    fast_wheel = ["", "", "", "", "wheel", "60", "15000"]
    assert answered("boosted-petrol", "rp2", *fast_wheel)[0].tach == 60  # an RP2040 takes it
    plan, told = answered("boosted-petrol", "esp32", *fast_wheel, "", "", "", "", "", "36", "9000")
    assert any("don't fit together" in line for line in told)
    assert (plan.board, plan.tach, plan.max_rpm) == ("esp32", 36, 9000)
    assert config.check(starter_configs.config_of(plan)) == []


def test_the_cars_values_as_json(capsys):
    assert main(["setup", "--values", "--json"]) == 0
    listed = json.loads(capsys.readouterr().out)["values"]
    assert {"pid": "0C", "name": "engine_speed"}.items() <= listed[[one["pid"] for one in listed].index("0C")].items()
    assert len(listed) > 40
