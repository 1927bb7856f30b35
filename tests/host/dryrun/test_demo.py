"""`ringpull demo` in a process of its own: files, printed answer, and the answer held against the model's truth."""

import json
import re
import subprocess
import sys

import pytest
from limits import HANG_S
from truth import desk

from ringpull.cli import main
from ringpull.invented import computer

PRESS_S = 0.02  # a shorter press is none: a mark begins when it has lasted so long


@pytest.fixture(scope="module")
def done(tmp_path_factory):
    folder = tmp_path_factory.mktemp("demo") / "out"
    words = [sys.executable, "-m", "ringpull", "demo", "-o", folder, "--seed", "7"]
    run = subprocess.run(words, capture_output=True, text=True, timeout=HANG_S)
    assert run.returncode == 0, run.stderr
    return folder, run.stdout


def test_leaves_signals_card_and_report(done):
    folder, _ = done
    for name in ("volts.csv", "edges.csv", "buttons.csv", "logger.json"):
        assert (folder / "signals" / name).stat().st_size > 100
    for name in ("drive.rpl", "pulls.rpl"):
        assert (folder / "card" / name).stat().st_size % 512 == 0
    assert (folder / "card" / "logger.json").read_bytes() == (folder / "signals" / "logger.json").read_bytes()
    assert "<html" in (folder / "report.html").read_text(encoding="utf-8")[:500].lower()


def test_answer_is_the_truth(done):
    folder, _ = done
    found = json.loads((folder / "answer.json").read_text())
    known = json.loads((folder / "signals" / "truth.json").read_text())
    assert found["verdict"] == "attention"
    assert [pull["source"] for pull in found["pulls"]] == ["mark"] * 3
    for pull, real in zip(found["pulls"], known["pulls"], strict=True):
        assert pull["start_s"] == pytest.approx(real["start_s"] + PRESS_S, abs=0.006)
        by_press = real["ended_by"] == "press"
        assert pull["end_s"] == pytest.approx(real["end_s"] + PRESS_S * by_press, abs=0.006 if by_press else 0.2)
    assert [len(pull["lean_events"]) for pull in found["pulls"]] == [0, 1, 0]
    event, hole = found["pulls"][1]["lean_events"][0], known["hole"]
    assert event["depth"] == pytest.approx(hole["depth"], abs=0.01)
    assert event["rpm_from"] == pytest.approx(hole["rpm_from"], abs=200)
    assert event["rpm_to"] == pytest.approx(hole["rpm_to"], abs=200)
    assert event["start_s"] == pytest.approx(hole["from_s"], abs=0.2)
    assert event["end_s"] == pytest.approx(hole["to_s"], abs=0.2)


def test_the_cars_computer_answers_and_the_report_shows_it(done):
    folder, printed = done
    found = json.loads((folder / "answer.json").read_text())
    (told,) = [one for one in found["reasons"] if "P0171 pending" in one]
    assert "too lean" in told and "P0171 pending" in " ".join(printed.split())
    page = (folder / "report.html").read_text(encoding="utf-8")
    first, rest = page.split('<section id="why"', 1)
    assert "P0171 pending" in first  # on the first screen, beside the verdict
    car = rest.split('<section id="car"', 1)[1].split("</section>", 1)[0]
    assert "P0171 (pending): mixture too lean in closed loop, bank 1" in car
    trims = re.search(r"In closed loop, (\d+) s of the session, its trims added ([\d.]+) % of fuel", car)
    assert int(trims[1]) > 20 and float(trims[2]) == pytest.approx(computer.LONG_TRIM, abs=0.5)
    assert "open loop, under load or overrun" in car and "short trim, %" not in car  # the pulls are in open loop
    assert '"words":{"0":"off"' in page  # of the fuel system's state, for the traces


def test_prints_pulls_event_and_verdict(done):
    folder, printed = done
    found = json.loads((folder / "answer.json").read_text())
    lines = printed.splitlines()
    assert [line[:7] for line in lines if line.startswith("pull ")] == ["pull 1:", "pull 2:", "pull 3:"]
    assert f"Verdict: {found['verdict']}" in lines
    (place,) = found["lean_places"]
    assert place["sentence"] in " ".join(printed.split()) and place["pulls"] == [2]
    shown = re.search(r"lambda (\S+) .* ([\d.]+) s", place["sentence"])  # rounded once, JSON's figure before
    assert float(shown[1]) == pytest.approx(place["lambda"], abs=0.006)
    assert float(shown[2]) == pytest.approx(place["seconds"], abs=0.06)
    assert "safe" not in printed.lower()


@pytest.mark.slow
def test_the_mended_car_has_no_hole_and_the_comparison_says_so(done, tmp_path):
    before, _ = done
    words = ["demo", "--mended", "-o", tmp_path / "after", "--seed", "8"]
    run = desk.command(*words)
    assert run.returncode == 0 and "after a new fuel pump" in run.stdout
    assert "Verdict: no lean event found" in run.stdout
    assert json.loads((tmp_path / "after" / "signals" / "truth.json").read_text())["hole"] is None
    compared = desk.command("compare", before / "card", tmp_path / "after" / "card", "--json")
    assert compared.returncode == 0 and json.loads(compared.stdout)["lean_pulls"]["after"] == {"lean": 0, "judged": 3}


def test_a_seed_below_zero_is_refused(capsys, tmp_path):
    assert main.main(["demo", "-o", str(tmp_path), "--seed", "-1"]) == 2
    told = capsys.readouterr().err.strip().splitlines()
    assert len(told) == 3 and "-1" in told[0]
    assert list(tmp_path.iterdir()) == []
