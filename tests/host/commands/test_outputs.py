"""What a command writes never takes the place of a recording, and a failure leaves what was there."""

import hashlib
import shutil
from pathlib import Path

import pytest

from ringpull.cli.main import main
from ringpull.errors import CannotWrite
from ringpull.files import outputs

CARD = Path(__file__).resolve().parents[3] / "demo_logs" / "v1_marked"


@pytest.fixture
def card(tmp_path):
    place = tmp_path / "card"
    shutil.copytree(CARD, place)
    shutil.copy(place / "drive.rpl", tmp_path / "copy_without_ending")
    return place


def sums(folder):
    return {path: hashlib.sha256(path.read_bytes()).hexdigest() for path in folder.rglob("*") if path.is_file()}


@pytest.mark.parametrize("target", ["card/drive.rpl", "card/pulls.rpl", "new.RPL", "copy_without_ending", "card", "."])
@pytest.mark.parametrize(
    "words",
    [
        ["report", "card", "-o"],
        ["report", "card", "-o", "r.html", "--json"],
        ["report", "card", "-o", "r.html", "--pdf"],
        ["decode", "card", "-o"],
        ["fuelmap", "card", "-o"],
        ["fuelmap", "card", "--table"],
        ["fuelmap", "card", "--picture"],
        ["setup", "--preset", "e85", "--force", "-o"],
    ],
    ids=lambda words: " ".join(word for word in words if word.startswith("-") or word.isalpha()),
)
def test_nothing_is_written_over_a_recording(card, tmp_path, monkeypatch, capsys, words, target):
    monkeypatch.chdir(tmp_path)
    before = sums(tmp_path)
    assert main([*words, target]) == 2
    assert capsys.readouterr().err.count("\n") == 3
    assert sums(tmp_path) == before


@pytest.mark.parametrize("words", [["report", "card", "-o"], ["report", "card", "-o", "r.html", "--json"]])
@pytest.mark.parametrize("name", ["logger.json", "drive.rpl.notes.json"])
def test_nor_over_what_was_written_by_hand(card, monkeypatch, capsys, words, name):
    monkeypatch.chdir(card.parent)
    (card / name).write_text("mine")
    assert main([*words, f"card/{name}"]) == 2
    assert (card / name).read_text() == "mine" and capsys.readouterr().err.count("\n") == 3


@pytest.mark.parametrize(
    "words", [["report", "card", "-o", "x", "--json", "x"], ["fuelmap", "card", "-o", "x", "--table", "./x"]]
)
def test_one_name_for_two_outputs_is_told(card, tmp_path, monkeypatch, capsys, words):
    monkeypatch.chdir(tmp_path)
    assert main(words) == 2
    assert "two outputs" in capsys.readouterr().err and not (tmp_path / "x").exists()


def test_a_failure_leaves_the_file_that_was_there(tmp_path):
    path = tmp_path / "report.html"
    path.write_text("the last one")
    with pytest.raises(CannotWrite), outputs.whole(path) as fresh:
        fresh.write_text("half")
        raise OSError(28, "No space left on device")
    assert path.read_text() == "the last one" and list(tmp_path.iterdir()) == [path]
    with outputs.whole(path) as fresh:
        fresh.write_text("a new one")
    assert path.read_text() == "a new one" and list(tmp_path.iterdir()) == [path]
