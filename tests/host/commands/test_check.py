"""`check` judges: what makes an answer impossible is an error, the rest is graded, and every channel's use is said."""

import copy
import json
import re
import sys

import pytest

from ringpull.analysis.drive_state import roles
from ringpull.cli.main import main
from ringpull.device import advice, impossible, judgement, uses
from ringpull.invented.instruments import CONFIG
from shared_math import config
from tests.shared.config_good import good


def base(board="rp2"):
    """A configuration with which there is nothing to look at."""
    return {
        "version": 1,
        "board": board,
        "engine": {"cylinders": 4, "displacement_cc": 1600},
        "target": {"load": "map", "load_kpa": [40, 100, 200], "lambda": [1.0, 0.88, 0.79]},
        "channels": [
            {
                "name": "lambda_1",
                "input": "a0",
                "kind": "lambda",
                "volts": [0.5, 4.5],
                "values": [0.6, 1.4],
                "tau_ms": 80,
                "states": [{"name": "warm-up", "volts": [0.0, 0.1], "means": "heating"}],
            },
            {"name": "engine_speed", "input": "p0", "kind": "pulses", "per_rev": 2, "max_rpm": 9000},
            {"name": "map", "input": "a1", "kind": "linear", "unit": "kPa", "volts": [0.5, 4.5], "values": [20, 300]},
            {"name": "throttle", "input": "a2", "kind": "linear", "unit": "%", "volts": [0.5, 4.5], "values": [0, 100]},
        ],
    }


def changed(channel=None, drop=None, board="rp2", **more):
    """base() with keys of one channel (by number) changed, a channel dropped, or keys of the file changed."""
    out = base(board)
    if channel is not None:
        out["channels"][channel].update(more)
    else:
        out.update(more)
    if drop is not None:
        name = out["channels"].pop(drop)["name"]
        if name == "map":
            del out["target"]
    assert config.check(out) == [], config.check(out)
    return out


def told(given):
    """(codes of what makes an answer impossible, codes of what to look at first, codes worth knowing)."""
    judged = judgement.judge(given)
    return tuple([point.code for point in points] for points in (judged.impossible, judged.first, judged.known))


def test_a_whole_configuration_works():
    judged = judgement.judge(base())
    assert judged.works and judged.sentence == "works; nothing to look at"


IMPOSSIBLE = {
    "no lambda channel": ("no_lambda", dict(drop=0)),
    "only what the engine computer commands": ("no_lambda", dict(channel=0, name="lambda_commanded")),
    "no engine speed": ("no_speed", dict(drop=1)),
    "states over half of the range": ("states_cover", dict(channel=0, states=[{"name": "off", "volts": [0.0, 2.5]}])),
    "two states, half of the range together": (
        "states_cover",
        dict(channel=0, states=[{"name": "off", "volts": [0.0, 1.5]}, {"name": "fault", "volts": [3.5, 5.0]}]),
    ),
    "an input that the board uses itself": ("board_input", dict(channel=2, input="a3")),
    "the same on an RP2350": ("board_input", dict(channel=2, input="a3", board="rp2350")),
    "max_rpm of 900": ("max_rpm_low", dict(channel=1, max_rpm=900)),
    "max_rpm at idle": ("max_rpm_low", dict(channel=1, max_rpm=2000)),
    "lambda over 0-12 V": ("lambda_over_5v", dict(channel=0, volts=[0, 12], states=[])),
    "manifold pressure in bar, called kPa": ("little_kpa", dict(channel=2, values=[0.2, 3.0])),
    "gauge pressure": ("gauge_kpa", dict(channel=2, values=[-80, 200])),
    "pressure in psi, called kPa": ("not_ambient", dict(channel=2, values=[2.9, 43.5])),
    "a sensor that begins above the air": ("not_ambient", dict(channel=2, values=[120, 400])),
    "a target in bar": (
        "little_kpa",
        dict(target={"load": "map", "load_kpa": [0.4, 2.0], "lambda": [1.0, 0.8]}),
    ),
}


@pytest.mark.parametrize("case", IMPOSSIBLE)
def test_what_makes_an_answer_impossible_is_an_error(tmp_path, capsys, case):
    code, changes = IMPOSSIBLE[case]
    if changes.get("states") == []:
        changes = {name: value for name, value in changes.items() if name != "states"}
        given = base()
        given["channels"][0].pop("states")
        given["channels"][0].update(volts=changes["volts"])
    else:
        given = changed(**changes)
    assert told(given)[0] == [code]
    path = tmp_path / "logger.json"
    path.write_text(json.dumps(given))
    assert main(["check", str(path)]) == 2
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith("Wrong: ") and lines[2].startswith("  what to do: ")
    assert lines[-1] == "logger.json: records, but can give no answer: 1 to correct"
    assert "{" not in lines[0] and "%" not in lines[1]


def test_neighbours_of_the_impossible_work():
    assert told(changed(0, states=[{"name": "off", "volts": [0.0, 2.4]}]))[0] == []
    assert told(changed(1, max_rpm=2100))[0] == []
    assert told(changed(0, volts=[0.2, 5.5]))[0] == []
    divider = {"top_ohm": 47000, "bottom_ohm": 10000}
    assert told(changed(0, volts=[0.5, 12], divider=divider))[0] == []
    assert told(changed(2, board="esp32", input="a3"))[0] == []
    bar = {"name": "boost", "unit": "bar", "values": [0.2, 3.0]}
    given = base()
    del given["target"]
    given["channels"][2].update(bar)
    assert told(given)[0] == []
    given["channels"][2]["values"] = [-1, 2]
    assert told(given)[0] == ["gauge_kpa"]


def test_a_pressure_in_bar_under_a_target_in_kpa_is_a_mistake():
    given = base()
    given["channels"][2].update(unit="bar", values=[0.2, 3.0])
    judged = judgement.judge(given)
    assert [point.code for point in judged.mistakes] == ["target_load_unit"] and not judged.works
    assert judged.sentence == "can't be used: 1 to correct"


FIRST = {
    "lag in seconds": ("tau_in_seconds", dict(channel=0, tau_ms=0.08)),
    "falling slope": ("falling_slope", dict(channel=0, values=[1.4, 0.6])),
    "falling pressure": ("falling_pressure", dict(channel=2, volts=[4.5, 0.5])),
    "board by another name": ("board_unknown", dict(board="pico")),
    "gauge pressure from zero on": ("maybe_gauge", dict(channel=2, name="boost", values=[0, 200], target=None)),
    "unit in small letters": ("unit_unknown", dict(channel=2, name="fuel_pressure", unit="kpa", target=None)),
    "no unit": ("unit_unknown", dict(channel=2, name="coolant", unit="", target=None)),
    "low max_rpm": ("low_max_rpm", dict(channel=1, max_rpm=3500)),
    "own supply, own divider": ("own_divider", dict(channel=3, name="board", input="a3", unit="V", values=[0, 5])),
}


@pytest.mark.parametrize("case", FIRST)
def test_what_is_to_be_looked_at_first(case):
    code, changes = FIRST[case]
    given = base()
    if "target" in changes:
        del given["target"]
        given["lean_warning"] = False
    if "channel" in changes:
        given["channels"][changes["channel"]].update(
            {key: value for key, value in changes.items() if key not in ("channel", "target")}
        )
    else:
        given.update(changes)
    assert config.check(given) == []
    nothing, first, _ = told(given)
    assert nothing == [] and first == [code]
    judged = judgement.judge(given)
    assert judged.works and judged.sentence.startswith("works; 1 thing to look at first")


@pytest.mark.parametrize(
    ("board", "meant"),
    [("pico", "rp2"), ("RP2040", "rp2"), ("pico-w", "rp2"), ("ESP-32", "esp32"), ("genric", "generic")],
)
def test_a_board_by_another_name_is_guessed(board, meant):
    (point,) = judgement.judge(changed(board=board)).first
    assert f'did you mean "{meant}"?' in point.what


def asked(*values, **more):
    """base() with values of the car's computer."""
    given = base()
    given["bus"] = {"ask": True}
    given["channels"] += [{"name": name, "kind": "obd", "pid": pid} for name, pid in values]
    given.update(more)
    assert config.check(given) == []
    return given


def test_trims_without_their_state_are_told_first():
    assert told(asked(("any_name", "06")))[1] == ["trims_alone"]
    assert told(asked(("any_name", "long_trim_1"), ("loop", "03")))[1] == []
    (point,) = judgement.judge(asked(("any_name", "06"))).first
    assert "any_name" in point.what and '"pid": "03"' in point.step


def test_what_the_cars_computer_is_asked_for_is_used_under_any_name():
    given = asked(("a", "44"), ("b", "0E"), ("c", "06"), ("d", "03"), ("lambda_commanded", "5C"), ("f", "0C"))
    said = {use.name: " ".join(use.sentences) for use in uses.uses(given)}
    assert "asks for" in said["a"] and "beside each pull" in said["b"] and "agrees with the tach" in said["f"]
    assert "fuel map" in said["c"] and "closed loop" in said["c"] and "open or closed loop" in said["d"]
    assert said["lambda_commanded"] == ""  # oil temperature, whatever it is called
    given = asked(("lambda_commanded", "44"))
    (said,) = [use.sentences for use in uses.uses(given) if use.name == "lambda_commanded"]
    assert "beside the measured one" in said[0]


def test_a_wire_that_is_measured_once_more_is_said_to_be_compared():
    said = {use.name: use.sentences for use in uses.uses(good())}
    assert said["lambda_1_wire"] == (
        "compared with lambda_1: where it reads 0.25 V more or 0.35 V less, the lamp shows fault 48, "
        "and on the PC lambda is not believed",
    )


def test_a_mistyped_value_is_guessed_and_the_list_of_all_is_named():
    given = asked(("speed", "engine_speed"))
    given["channels"][-1]["pid"] = "engine_sped"
    (point,) = judgement.judge(given).mistakes
    assert 'did you mean "engine_speed"?' in point.what and "ringpull setup --values" in point.step


def test_a_board_of_ones_own_is_not_guessed():
    (point,) = judgement.judge(changed(board="my_wiring")).first
    assert "did you mean" not in point.what


def test_several_things_are_counted():
    given = changed(0, tau_ms=0.08, values=[1.4, 0.6])
    del given["channels"][0]["states"]
    assert judgement.judge(given).sentence == "works; 2 things to look at first, 1 worth knowing"


def test_every_sentence_has_its_place():
    """No code without words, none that is neither graded nor said."""
    assert set(advice.FIRST) <= set(advice.ADVICE)
    for table in (advice.ADVICE, impossible.SENTENCES):
        for code, sentences in table.items():
            assert len(sentences) == 3, code
            for sentence in sentences:
                assert not re.search(r"{[^wd{]", sentence.replace("{{", "")), sentence


def test_every_channel_is_said_to_be_used_or_not(tmp_path, capsys):
    path = tmp_path / "logger.json"
    path.write_text(json.dumps({**good(), "rate_hz": 100}))  # all that there is, at 200 Hz, is too much
    main(["check", str(path)])
    shown = capsys.readouterr().out
    for channel in good()["channels"]:
        assert f"{channel['name']} ({channel.get('input', 'bus')})" in shown
    assert re.search(r"oil_pressure \(x7\) +logged and shown, not used\n", shown)
    main(["check", str(path), "--json"])
    made = json.loads(capsys.readouterr().out)
    by_name = {one["name"]: one["used_for"] for one in made["channels"]}
    assert by_name["oil_pressure"] == [] and by_name["fuel_pressure"] and made["works"] and "judgement" in made


def used(*channels, **more):
    given = {"version": 1, "channels": list(channels), **more}
    assert config.check(given) == []
    return {use.name: use.sentences for use in uses.uses(given)}


def linear(name, place, unit="kPa", **more):
    return {
        "name": name,
        "input": place,
        "kind": "linear",
        "unit": unit,
        "volts": [0.5, 4.5],
        "values": [0, 300],
        **more,
    }


def test_uses_go_by_name_and_the_first_of_a_name_counts():
    said = used(linear("tps", "a0", "%"), linear("throttle", "a1", "%"))
    assert any("full throttle" in one for one in said["tps"])
    assert said["throttle"] == ("a marked pull ends by itself when it closes",)
    assert used(linear("throttle_2", "a0", "%"))["throttle_2"] == ()


def test_what_others_refer_to_is_used():
    switch = {"name": "high_boost", "input": "d0", "kind": "digital"}
    oil = linear("oil_pressure", "a1")
    target = [
        {"when": {"channel": "high_boost", "is": 1}, "load": "oil_pressure", "load_kpa": [1, 2], "lambda": [1, 0.9]},
        {"lambda": 0.9},
    ]
    said = used(switch, oil, target=target)
    assert said["high_boost"] == ("chooses the target",)
    assert said["oil_pressure"] == ("the load that the target depends on",)
    assert used(switch)["high_boost"] == ()
    assert "fault 46" in used(linear("reference", "a0", "V", expect=[2.4, 2.6]))["reference"][0]
    assert any("dips" in one for one in used(linear("battery", "a0", "V"))["battery"])


def test_two_banks_are_told_apart():
    first = {"name": "lambda_1", "input": "a0", "kind": "lambda", "volts": [0, 5], "values": [0.6, 1.4], "bank": 1}
    said = used(first, {**first, "name": "lambda_2", "input": "a1", "bank": 2})
    assert "bank 1" in said["lambda_1"][0] and "bank 2" in said["lambda_2"][0]
    assert "bank" not in used(first)["lambda_1"][0]


def test_what_each_part_brings_is_read_by_the_analysis():
    """A part with a use stands in a module of the analysis that reads it; one without stands in none."""
    folder = sys.modules[roles.__name__].__file__
    from pathlib import Path

    sources = {
        path.name: path.read_text()
        for path in Path(folder).parents[1].rglob("*.py")
        if path.name not in ("roles.py", "units.py")
    }
    for role in roles.NAMES:
        named = [name for name, text in sources.items() if re.search(rf'"{role}"|\.{role}(_kpa)?\b', text)]
        assert bool(named) == (role in uses.BRINGS), (role, named)


def test_the_demos_configuration_works():
    given = copy.deepcopy(CONFIG)
    assert judgement.judge(given).works
