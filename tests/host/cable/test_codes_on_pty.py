"""Trouble codes over the cable, from the real firmware in the clock's time: told while recording, cleared at the
bench, and everything that must refuse to clear."""

import json
import sys
from pathlib import Path

import pytest
from truth.cable_desk import Desk, answers, wait_for

from ringpull.cli.main import main
from ringpull.dryrun.bus_server import Unit

sys.path.insert(0, str(Path(__file__).parents[1] / "dryrun"))
from bus_cars import VALUES, car, config, engine, modern, obd  # noqa: E402


class Clearing:
    """A car that keeps a code until it is cleared. rpm: of its engine. answer: to service 04."""

    def __init__(self, rpm=b"\0\0", answer=b"\x44", speed=b"\0"):
        self.cleared = 0
        self.answer = answer
        values = {**VALUES, 0x0C: rpm, 0x0D: speed}
        self.before = engine(values, confirmed=b"\x01\x01\x71", pending=b"\x00")
        self.after = engine(values, confirmed=b"\x00", pending=b"\x00")

    def __call__(self, request, time_s):
        if request == b"\x04":
            self.cleared += self.answer == b"\x44"
            return [self.answer] if self.answer else []
        return (self.after if self.cleared else self.before)(request, time_s)


def on_desk(folder, unit, edges=False):
    settings = config([obd("rpm_bus", "0C")], kbit=500)
    files = [folder / name for name in ("logger.json", "volts.csv", "edges.csv")]
    (folder / "out").mkdir()
    files[0].write_text(json.dumps(settings))
    files[1].write_text("t_s,lambda_1\n0,2.5\n120,2.5\n")
    turning = "".join(f"{n / 50:.4f},engine_speed\n" for n in range(1, 6000)) if edges else ""
    files[2].write_text("t_s,input\n" + turning)
    bus = car(units=[Unit(0x7E8, unit)])
    source = folder / "source.json"
    source.write_text("{}")
    return Desk(folder, [*files, None], 120.0, bus=bus.start(), source=str(source)), bus


def typed(monkeypatch, words):
    monkeypatch.setattr("builtins.input", lambda _prompt: words)


def cleared(bus):
    return [data for _, _, data in bus.sent if data[1] == 4 and data[0] == 1]


@pytest.mark.slow
def test_codes_are_told_then_cleared_by_the_typed_word_alone(tmp_path, monkeypatch, capsys):
    unit = Clearing()
    desk, bus = on_desk(tmp_path, unit)
    try:
        wait_for(lambda: answers(desk), desk.said())
        assert main(["codes", desk.port]) == 0
        capsys.readouterr()
        typed(monkeypatch, "yes")
        assert main(["codes", desk.port, "--clear", "--keep", str(tmp_path / "kept")]) == 0
        shown = capsys.readouterr().out
        assert "nothing was cleared" in shown and not cleared(bus)
        for word in ("freeze frame", "readiness", "inspection", "permanent codes", "trims"):
            assert word in shown
        (saved,) = (tmp_path / "kept").glob("codes-*.json")
        assert json.loads(saved.read_text())["units"][0]["confirmed"] == ["P0171"]
        saved.unlink()
        wait_for(lambda: answers(desk), "it records again")
        typed(monkeypatch, "CLEAR")
        assert main(["codes", desk.port, "--clear", "--keep", str(tmp_path / "kept")]) == 0
        assert len(cleared(bus)) == 1 and unit.cleared == 1
        assert "no codes" in capsys.readouterr().out.split("asked again")[1]
    finally:
        desk.end()


@pytest.mark.slow
def test_a_car_of_the_later_standard_is_cleared_as_it_understands(tmp_path, monkeypatch, capsys):
    asked = []
    desk, bus = on_desk(tmp_path, modern({**VALUES, 0x0C: b"\0\0", 0x0D: b"\0"}, cleared=asked))
    try:
        wait_for(lambda: answers(desk), desk.said())
        typed(monkeypatch, "CLEAR")
        assert main(["codes", desk.port, "--clear", "--keep", str(tmp_path / "kept")]) == 0
        assert asked == [b"\x14\xff\xff\x33"] and not cleared(bus)
        (saved,) = (tmp_path / "kept").glob("codes-*.json")
        assert json.loads(saved.read_text())["units"][0]["permanent"] == ["P0171"]
    finally:
        desk.end()


@pytest.mark.slow
@pytest.mark.parametrize(
    ("unit", "edges", "said", "asked"),
    [
        (Clearing(rpm=b"\x0c\x80"), False, "the engine turns", 0),
        (Clearing(speed=b"\x05"), False, "the engine turns", 0),
        (Clearing(), True, "the engine turns", 0),
        (Clearing(answer=b"\x7f\x04\x22"), False, "refused (22)", 1),
        (Clearing(answer=b"\x7f\x04\x33"), False, "security access", 1),
        (Clearing(answer=b""), False, "no computer answered", 1),
    ],
    ids=["engine turns", "car rolls", "tach turns", "conditions", "security", "silence"],
)
def test_what_refuses_to_clear(tmp_path, monkeypatch, capsys, unit, edges, said, asked):
    desk, bus = on_desk(tmp_path, unit, edges)
    try:
        wait_for(lambda: answers(desk), desk.said())
        typed(monkeypatch, "CLEAR")
        assert main(["codes", desk.port, "--clear", "--keep", str(tmp_path)]) == 2
        assert said in capsys.readouterr().err
        assert len(cleared(bus)) == asked and not unit.cleared
    finally:
        desk.end()


@pytest.mark.slow
def test_a_logger_that_may_not_ask_says_so(tmp_path, capsys):
    settings = {**config([]), "bus": None}
    del settings["bus"]
    files = [tmp_path / name for name in ("logger.json", "volts.csv")]
    (tmp_path / "out").mkdir()
    files[0].write_text(json.dumps(settings))
    files[1].write_text("t_s,lambda_1\n0,2.5\n60,2.5\n")
    desk = Desk(tmp_path, [*files, None, None], 60.0)
    try:
        wait_for(lambda: answers(desk), desk.said())
        assert main(["codes", desk.port]) == 2
        assert "not set up to ask" in capsys.readouterr().err
    finally:
        desk.end()
