"""The self-test over the cable and on the board alone: parts that are well, that are not, that are missing."""

import json
import threading
from pathlib import Path

import numpy as np
import pytest
from truth import desk
from truth.cable_desk import answers, bench_desk, wait_for
from truth.profile import holds
from truth.signals import Signals, Tach

from ringpull.cable import link as links
from ringpull.cable import ports, selftest
from ringpull.cli.commands.selftest import histogram
from ringpull.device.two_points import Converter
from ringpull.files import configuration
from shared_math import config as shared_config
from shared_math import proving
from shared_math.proving import ABSENT, BAD, GOOD

PIN = 65536 / 3.3  # 65536ths of the desk's converter, a volt at its pin
BATTERY = PIN * 10 / 57
CONFIG = {
    "version": 1,
    "channels": [
        {"name": "lambda_1", "input": "a0", "kind": "lambda", "volts": [0, 5], "values": [0.6, 1.4]},
        {"name": "engine_speed", "input": "p0", "kind": "pulses", "per_rev": 2, "max_rpm": 4000},
        {"name": "battery", "input": "a1", "kind": "linear", "unit": "V", "volts": [0, 18], "values": [0, 18]},
    ],
}


class Fake:
    """A bench whose figures the test says. loop: edges counted over edges put out; None: no such output."""

    def __init__(self, loop=1.0, **changes):
        self.config = configuration.of(shared_config.defaults(CONFIG))
        self.loop = loop
        self.hz = 0
        self.proofs = {
            "button": {"level": False, "held_ms": 180},
            "lamp": {"shown_ms": 3000},
            "screen": None,
            "memory": {"free": 50000, "largest": 20000, "all": 200000},
            "card": {
                "writes": 512,
                "worst_us": 40000,
                "sum_us": 900000,
                "wrong": 0,
                "failed": 0,
                "read_us": 800,
                "classes": [100, 400, 11, 0, 0, 1, 0, 0, 0, 0, 0, 0],
            },
            "clock": {"utc": None, "us": 0},
        }
        self.noise = {"lambda_1": 2.0, "battery": 2.0}
        self.counts = {"lambda_1": 2000, "battery": int(12.6 * BATTERY / 16)}
        for key, value in changes.items():
            part, _, figure = key.partition("__")
            if part in self.proofs and figure:
                self.proofs[part] = {**self.proofs[part], figure: value}
            elif part in self.proofs:
                self.proofs[part] = value
            else:
                getattr(self, part)[figure] = value

    def prove(self, part, much, takes_s=0.0):
        return self.proofs[part]

    def converter(self, name):
        return Converter(12, 3.3, (0.0, 0.0))

    def drive(self, what, value):
        self.hz = value
        return self.loop is not None

    def mean(self, name, seconds):
        if name == "engine_speed":
            edges = round(self.hz * seconds * self.loop)
            us = round(edges * 1e6 / (self.hz * self.loop)) if edges else 0
            return {"rows": 300, "edges": edges, "us": us, "refused": 0}
        values = np.rint(np.random.default_rng(1).normal(self.counts[name], self.noise[name], 300)).astype(int)
        values = values.clip(0, 4095)
        off = values - values[0]
        return {
            "rows": 300,
            "base": int(values[0]),
            "sum": int(off.sum()),
            "squares": int((off**2).sum()),
            "least": int(values.min()),
            "most": int(values.max()),
            "ones": int(np.bitwise_or.reduce(values)),
            "always": int(np.bitwise_and.reduce(values)),
        }


def rows_of(answer="yes", **changes):
    bench = Fake(**changes)
    ask = None if answer is None else lambda _question: answer
    report = selftest.Test(bench, ask, lambda _line: None)  # pyright: ignore[reportArgumentType]
    return {row.part.split(" (")[0]: row for row in report.run().rows}, report.report


def test_all_well():
    rows, report = rows_of()
    assert {part: row.result for part, row in rows.items() if part != "clock"} == {
        **dict.fromkeys(("button", "lamp", "memory", "card", "input a0", "input a1", "supply", "tach loop-back"), GOOD),
        "screen": ABSENT,
    }
    assert "worst 40.0 ms, mean 1.8 ms; 512 of 512 read back right" in rows["card"].figure
    assert "12.6" in rows["supply"].figure and "200 Hz +0 ppm" in rows["tach loop-back"].figure
    assert "400 Hz" not in rows["tach loop-back"].figure  # beyond what max_rpm lets through
    assert report.as_json()["writes"][0] == {"below_ms": 1.0, "writes": 100}
    assert report.as_json()["writes"][-1]["below_ms"] is None


@pytest.mark.parametrize(
    ("changes", "part", "said"),
    [
        ({"button__level": True}, "button", "nobody at it"),
        ({"button__held_ms": -1}, "button", "no press"),
        ({"memory__largest": 1000}, "memory", "1.0 kB in one piece"),
        ({"card__wrong": 3}, "card", "509 of 512"),
        ({"card__worst_us": 700000}, "card", "worst 700.0 ms"),
        ({"card__failed": 5}, "card", "error 5"),
        ({"noise__lambda_1": 12.0}, "input a0", "noise 1"),
        ({"noise__lambda_1": 0.0}, "input a0", "stands still"),
        ({"counts__battery": int(8 * BATTERY / 16)}, "supply", "8.0"),
        ({"loop": 2.0}, "tach loop-back", "66.0"),
        ({"screen": {"answers": True}, "answer": "no"}, "screen", "answers"),
    ],
)
def test_a_part_that_is_not_well_fails_and_says_what_to_do(changes, part, said):
    rows, report = rows_of(**changes)
    assert rows[part].result == BAD and said in rows[part].figure and rows[part].step
    assert report.failed


@pytest.mark.parametrize(
    ("changes", "part"),
    [
        ({"card": None}, "card"),
        ({"loop": 0.0}, "tach loop-back"),
        ({"loop": None}, "tach loop-back"),
        ({"counts__lambda_1": 0}, "input a0"),
        ({"counts__battery": 0}, "supply"),
    ],
)
def test_what_is_not_there_is_no_fault(changes, part):
    rows, _ = rows_of(**changes)
    assert rows[part].result == ABSENT


def test_without_questions_nothing_is_claimed_of_what_only_eyes_see():
    rows, report = rows_of(answer=None)
    assert rows["button"].result == rows["lamp"].result == selftest.NOT_ASKED
    assert rows["lamp"].figure == "not driven"


def test_the_histogram():
    assert histogram([(1.0, 0), (2.0, 100), (4.0, 0), (8.0, 1), (float("inf"), 0)]) == [
        "        below 2 ms     100  " + "#" * 40,
        "        below 4 ms       0",
        "        below 8 ms       1  ####",
    ]
    assert histogram([(1024.0, 0), (float("inf"), 2)])[0].split() == ["from", "1024", "ms", "on", "2", "#" * 40]


RECORDING, STARTING = "250 10000000", "250 10100000"
MADE = Signals(holds([0], 600.0), Tach(2), {"lambda_1": holds([1.0], 600.0), "battery": holds([12.6], 600.0)})


def at_inputs(battery_v=12.6):
    return {"lambda_1": 30000, "battery": int(battery_v * BATTERY)}


def state(logger):
    with links.Link(ports.open_port(logger.port, links.PIECE_S)) as link:
        return link.state()


@pytest.mark.slow
def test_over_the_cable(tmp_path, monkeypatch):
    """The whole of it on the real firmware: a press when it asks for one, the loop-back wired, the card as it is."""
    with bench_desk(tmp_path, MADE, first=at_inputs(), loop=True) as logger:
        press = Path(f"{logger.source}.press")

        def told(line):
            if line.startswith("Press"):
                press.touch()
                threading.Timer(0.5, press.unlink).start()

        from ringpull.cli.commands import selftest as command

        monkeypatch.setattr(command, "_tell", told)
        monkeypatch.setattr("builtins.input", lambda: "yes")
        done = desk.command("selftest", logger.port, "--json", "--strict")
        assert done.returncode == 0, done.stdout + done.stderr
        found = json.loads(done.stdout)
        results = {row["part"].split(" (")[0]: row["result"] for row in found["parts"]}
        assert results == {
            **dict.fromkeys(("button", "lamp", "memory", "card", "input a0", "input a1", "supply", "clock"), GOOD),
            "tach loop-back": GOOD,
            "screen": ABSENT,
        }
        assert sum(one["writes"] for one in found["writes"]) == proving.WRITES and found["records"]
        assert state(logger)["session"] == 2


@pytest.mark.slow
def test_a_card_that_loses_writes_fails(tmp_path):
    with bench_desk(tmp_path, MADE, first=at_inputs(), card=[[1500000, "lie", None]]) as logger:
        wait_for(lambda: state(logger)["row"] > 400, logger.said())
        done = desk.command("selftest", logger.port, "--json", "--no-questions", "--strict")
        assert done.returncode == 1, done.stdout + done.stderr
        (row,) = [one for one in json.loads(done.stdout)["parts"] if one["part"] == "card"]
        assert row["result"] == BAD


@pytest.mark.slow
@pytest.mark.parametrize(
    ("battery_v", "shown"),
    [
        (12.6, "250 " + "111100" * 3 + "000000"),
        (8.0, "200 " + "11100" * 5 + "100" * 4 + "0000000000"),  # 54
    ],
)
def test_on_the_board_alone(tmp_path, battery_v, shown):
    """The button held at power-on and let go: the lamp tells what it is about and what came out; then it records."""
    lamp = tmp_path / "lamp.txt"
    lamp.touch()
    with bench_desk(tmp_path, MADE, held=1500000, lamp=str(lamp), starts=False, first=at_inputs(battery_v)) as logger:
        wait_for(lambda: shown in lamp.read_text().splitlines(), logger.said())
        seen = [line for line in lamp.read_text().splitlines() if line != RECORDING]
        assert seen == [STARTING, "250 11111110", shown]
        Path(f"{logger.source}.press").touch()  # enough of it
        wait_for(lambda: logger.again == 1, logger.said())
        Path(f"{logger.source}.press").unlink()
        wait_for(lambda: answers(logger), logger.said())
