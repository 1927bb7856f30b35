"""When a drive was: by the clock, else as noted, else guessed from the file; never nothing."""

import json
import os
import shutil
from pathlib import Path

import pytest

import ringpull
from ringpull.cli.main import main
from ringpull.files.dates import driven
from ringpull.report import answer_part

LOGS = Path(__file__).resolve().parents[3] / "demo_logs"


@pytest.fixture
def card(tmp_path):
    made = shutil.copytree(LOGS / "v1_marked", tmp_path / "card")
    for path in made.glob("*.rpl"):
        os.utime(path, (1_790_000_000, 1_790_000_000))  # 2026-09-21
    return made


def fact(card):
    return dict(answer_part.known_facts(ringpull.read(card)))["date"]


def test_the_files_date_is_a_guess_and_said_to_be_one(card, capsys):
    assert fact(card) == "2026-09-21 (a guess: the file's date)"
    assert main(["info", str(card), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["date"] == {"day": "2026-09-21", "from": "file's date"}
    assert main(["info", str(card)]) == 0
    assert "date     2026-09-21 (a guess: the file's date)" in capsys.readouterr().out


def test_a_noted_date_goes_before_the_files_and_the_clock_before_both(card, capsys, monkeypatch):
    assert main(["note", str(card), "--date", "2026-09-19"]) == 0
    assert "driven on 2026-09-19" in capsys.readouterr().out
    assert fact(card) == "2026-09-19"
    assert main(["note", str(card), "2", "new pump", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told == {"notes": {"2": "new pump"}, "date": {"day": "2026-09-19", "from": "noted"}}
    drive = ringpull.read(card)
    drive.sessions[0].start_utc = "2026-09-18T10:00:00Z"
    assert driven(drive).words == "2026-09-18T10:00:00Z"
    assert main(["note", str(card), "--date", ""]) == 0
    assert fact(card).startswith("2026-09-21 (a guess")
    assert json.loads((card / "notes.json").read_text()) == {"2": "new pump"}


def test_a_date_is_never_left_blank_without_a_word(card, monkeypatch):
    from ringpull.files import dates

    monkeypatch.setattr(dates, "of_file", lambda source: "")
    assert fact(card) == "not known: the logger has no clock"


def test_the_title_holds_the_date(card):
    assert ", 2026-09-21 (a guess: the file's date)" in answer_part.title(ringpull.read(card))


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--date", "19.9.2026"), "'19.9.2026' is no date"),
        ((), "there is nothing to note"),
        (("2",), "there is no remark for pull 2"),
    ],
)
def test_half_a_note_is_told(card, words, said, capsys):
    assert main(["note", str(card), *words]) == 2
    err = capsys.readouterr().err
    assert said in err and len(err.strip().splitlines()) == 3 and not (card / "notes.json").exists()
