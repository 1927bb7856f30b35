"""Inputs calibrated over the cable of the real firmware: known voltages, ground, frequency, free air; what is written,
and what is refused."""

import io
import json
import shutil
import sys

import numpy as np
import pytest
from truth import desk
from truth.cable_desk import answers, bench_desk, wait_for
from truth.profile import holds
from truth.signals import Signals, Tach

from ringpull.cable import bench as benches
from ringpull.cable import link as links
from ringpull.cable import ports
from ringpull.cable.newest import Newest
from ringpull.errors import LoggerRefused
from shared_math import cable_bench

SHARE = 10000 / 16800 / 3.3 * 65536  # of the desk's nominal input: 65536ths of its converter a volt
GAIN, ZERO_V = 0.99, 0.004  # of this one: its resistors, its converter's offset
SET = "import json, sys; json.dump({{'lambda_1': int((float(sys.argv[1]) * {} + {}) * {})}}, open({!r}, 'w'))"
QUICK = ("--seconds", "0.2")


def set_with(source, gain=GAIN, zero_v=ZERO_V):
    """A command that puts {volts} on the input of lambda_1."""
    return f'{sys.executable} -c "{SET.format(gain, zero_v, SHARE, str(source))}" {{volts}}'


def put(logger, volts, gain=GAIN, zero_v=ZERO_V):
    logger.source.write_text(json.dumps({"lambda_1": int((volts * gain + zero_v) * SHARE)}))


def points(logger, *volts, source=None):
    words = ["calibrate", logger.port, "--channel", "lambda_1", *QUICK, "--set-with", source or set_with(logger.source)]
    return [*words, *(word for one in volts for word in ("--point", one))]


def channel_of(path, name="lambda_1"):
    return next(one for one in json.loads(path.read_text())["channels"] if one["name"] == name)


def history(path):
    return [json.loads(line) for line in path.read_text().splitlines()]


@pytest.fixture(scope="module")
def logger(tmp_path_factory):
    """Recording, with 100 edges a second."""
    made = Signals(holds([3000], 600.0), Tach(2), {"lambda_1": holds([1.0], 600.0)})
    with bench_desk(tmp_path_factory.mktemp("bench"), made) as running:
        yield running


def linked(logger):
    return links.Link(ports.open_port(logger.port, links.PIECE_S))


@pytest.mark.slow
def test_two_points_are_written_on_both_sides_and_then_true(logger, tmp_path):
    """What is read afterwards is what stands at the terminal, and info tells the day."""
    config = tmp_path / "logger.json"
    shutil.copy(logger.config, config)
    done = desk.command(*points(logger, 1.333, 2.667, 2.0), "--config", config, "--json")
    assert done.returncode == 0, done.stderr
    (told,) = json.loads(done.stdout)["done"]
    assert told["gain"] == pytest.approx(1 / GAIN, abs=0.0025)
    assert told["zero_v"] == pytest.approx(-ZERO_V / GAIN, abs=0.004)
    assert abs(told["residuals"][0]["off_v"]) < 0.004
    key = channel_of(config)["calibration"]
    assert key["volts"] == [1.333, 2.667] and key["bits"] == 12
    # 0.5 % of the reading, over the square root of three; noise is a tenth of that
    assert key["u_volts"] == pytest.approx([0.005 * 1.333 / 3**0.5, 0.005 * 2.667 / 3**0.5], rel=0.05)
    assert [one["channel"] for one in history(tmp_path / cable_bench.HISTORY)] == ["lambda_1"]
    assert "CAUTION: On the bench" in done.stderr and "It records again" in done.stderr
    put(logger, 3.1)
    with linked(logger) as link:
        newest = Newest(link)
        assert newest.setup.config.channels[1].written["calibration"] == key
        values = []
        wait_for(lambda: (now := newest.ask()) and values.append(now.values["lambda_1"]) or len(values) > 30, "values")
        with benches.Bench(link) as bench:
            assert json.loads(bench.text) == json.loads(config.read_text())
            assert history_of(bench)[-1]["calibration"] == key
            read = bench.batches("lambda_1", 0.2)
            counts = np.mean([one["base"] + one["sum"] / one["rows"] for one in read])
    slope = (key["volts"][1] - key["volts"][0]) / (key["counts"][1] - key["counts"][0])
    assert key["volts"][0] + slope * (counts - key["counts"][0]) == pytest.approx(3.1, abs=0.005)
    wait_for(lambda: answers(logger), "it records")


def history_of(bench):
    return [json.loads(line) for line in bench.file(cable_bench.HISTORY_FILE).decode().splitlines()]


@pytest.mark.slow
@pytest.mark.parametrize(
    ("volts", "source", "said"),
    [
        ((1.333, 1.6), {}, "a fifth of the input"),
        ((1.333, 2.667), {"gain": 0.9}, "gain is +11"),
        ((1.333, 5.6), {}, "at an end of its range"),
        ((1.333, 2.667), {"zero_v": -0.3}, "off at 0 V"),
    ],
)
def test_what_does_not_fit_is_refused_and_changes_nothing(logger, tmp_path, volts, source, said):
    config = tmp_path / "logger.json"
    shutil.copy(logger.config, config)
    with linked(logger) as link, benches.Bench(link) as bench:
        before = bench.text, bench.file(cable_bench.HISTORY_FILE)
    wait_for(lambda: answers(logger), "it records")
    words = points(logger, *volts, source=set_with(logger.source, **source))
    done = desk.command(*words, "--config", config)
    assert done.returncode == 2 and said in done.stderr and len(done.stderr.split("error: ")[1].splitlines()) >= 3
    assert config.read_bytes() == logger.config.read_bytes() and not (tmp_path / cable_bench.HISTORY).exists()
    wait_for(lambda: answers(logger), "it records")
    with linked(logger) as link, benches.Bench(link) as bench:
        assert (bench.text, bench.file(cable_bench.HISTORY_FILE)) == before
    wait_for(lambda: answers(logger), "it records")


@pytest.mark.slow
def test_a_third_point_off_the_line_is_refused(logger):
    of_two = "(2.03 if sys.argv[1] == '2' else float(sys.argv[1]))"
    wrong = set_with(logger.source).replace("float(sys.argv[1])", of_two)
    done = desk.command(*points(logger, 1.333, 2.667, 2.0, source=wrong))
    assert done.returncode == 2 and "does not lie on the line: 2.000 V reads" in done.stderr


@pytest.mark.slow
def test_a_known_frequency_is_checked_and_dated(logger, tmp_path):
    config = tmp_path / "logger.json"
    shutil.copy(logger.config, config)
    words = ("calibrate", logger.port, "--channel", "engine_speed", "--config", config, "--seconds", "1")
    done = desk.command(*words, "--known-hz", 100)
    assert done.returncode == 0, done.stderr
    assert "with per_rev 2 that is 3000.0 1/min" in done.stdout
    assert channel_of(config, "engine_speed")["checked"] == history(tmp_path / cable_bench.HISTORY)[0]["date"][:10]
    done = desk.command(*words, "--known-hz", 200)
    assert done.returncode == 2 and "-50.00 % off" in done.stderr
    done = desk.command(*words, "--known-hz", 50)
    assert done.returncode == 2 and "rings" in done.stderr


@pytest.mark.slow
def test_asked_ground_and_free_air(logger, tmp_path, monkeypatch):
    """By questions, going back once; the sensor's ground 12 mV above the logger's; then free air."""
    config = tmp_path / "logger.json"
    shutil.copy(logger.config, config)
    now = iter(
        [
            ("lambda_1", None),
            ("two points", None),
            ("back", None),  # from the first voltage to the channel
            ("lambda_1", None),
            ("", None),
            ("nonsense", None),
            ("1,333", 1.333),
            ("2.7", 2.7),
            ("back", None),  # that one again
            ("2.667", 2.667),
            ("2.0", 2.0),
            ("yes", None),
            ("lambda_1", None),
            ("ground shift", None),
            ("1.55", 1.55 + 0.012),
            ("yes", None),
            ("lambda_1", None),
            ("free", None),
            ("5.01", 5.01 + 0.012),
            ("yes", None),
            ("done", None),
        ]
    )

    def typed():
        words, volts = next(now)
        if volts is not None:
            put(logger, volts)
        return words

    monkeypatch.setattr("builtins.input", typed)
    done = desk.command("calibrate", logger.port, "--config", config, "--json", *QUICK, "--meter-pct", "0.1")
    assert done.returncode == 0, done.stderr
    found = {one["what"]: one for one in json.loads(done.stdout)["done"]}
    assert found["ground shift"]["shift_v"] == pytest.approx(0.012, abs=0.004)
    assert found["two points"]["calibration"]["volts"] == [1.333, 2.667]
    channel = channel_of(config)
    assert channel["calibration"]["volts"] == pytest.approx([1.321, 2.655], abs=0.004)
    assert found["free air"]["volts"] == pytest.approx(5.01, abs=0.005) and channel["checked"]
    assert done.stderr.count("CAUTION") == 4 and "hold it by its wire" in done.stderr
    kept = history(tmp_path / cable_bench.HISTORY)
    assert [one["what"] for one in kept] == ["two points", "ground shift", "free air"]


def test_interrupted_it_leaves_nothing_half_written(logger, tmp_path, monkeypatch):
    config = tmp_path / "logger.json"
    shutil.copy(logger.config, config)

    def stop():
        raise KeyboardInterrupt

    monkeypatch.setattr("builtins.input", stop)
    done = desk.command("calibrate", logger.port, "--config", config)
    assert done.returncode == 2 and "0 were written whole" in done.stderr
    assert config.read_bytes() == logger.config.read_bytes()
    wait_for(lambda: answers(logger), "it records")


def test_at_the_bench_other_programs_are_told(logger):
    with linked(logger) as link:
        with benches.Bench(link) as bench:
            with pytest.raises(LoggerRefused, match="waits at the bench"):
                link.state()
            for words in (("mean", "none", "10"), ("mean", "lambda_1", "1"), ("read", "x", "0"), ("text", "9", "AAAA")):
                with pytest.raises(LoggerRefused, match="does not understand"):
                    link.ask(*words)
            with pytest.raises(LoggerRefused, match="does not understand"):
                link.ask("keep", "c", "5", "00000000")
            with pytest.raises(LoggerRefused, match="does not know"):
                link.ask("nonsense")
            text = bench.text
            assert bench.file(cable_bench.CONFIG_FILE) == text
    wait_for(lambda: answers(logger), "it records")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--channel", "lambda_1"), "go together"),
        (("--point", "1"), "go together"),
        (("--channel", "engine_speed", "--point", "1"), "no channel 'engine_speed' for this"),
        (("--channel", "lambda_1", "--known-hz", "50"), "no channel 'lambda_1' for this"),
        (("--channel", "lambda_1", "--point", "1", "--set-with", "false"), "the command for 1 V failed"),
    ],
)
def test_what_makes_no_sense_is_told(logger, monkeypatch, words, said):
    monkeypatch.setattr("sys.stdin", io.StringIO())
    done = desk.command("calibrate", logger.port, *words)
    assert done.returncode == 2 and said in done.stderr
