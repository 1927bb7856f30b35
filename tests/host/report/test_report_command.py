"""ringpull report: files, JSON, exit codes, pictures."""

import json
import shutil
import sys
from pathlib import Path

import pytest

from ringpull import report
from ringpull.cli import main

LOGS = Path(__file__).resolve().parents[3] / "demo_logs"


@pytest.fixture
def drawn(request, monkeypatch):
    """Where True, the figures are drawn; else they are made alone, and blank ones stand in the files: to draw them all
    twice takes seconds. test_map_as_a_picture draws one."""
    from matplotlib.figure import Figure

    real = Figure.savefig

    def blank(_, file, **how):
        if isinstance(file, str | Path):
            Path(file).write_bytes(b"\x89PNG")
        else:
            real(Figure((1, 1)), file, **how)

    if not request.param:
        monkeypatch.setattr(Figure, "savefig", blank)


@pytest.mark.parametrize("drawn", [False, pytest.param(True, marks=pytest.mark.slow)], indirect=True)
def test_report_with_all_its_files(drawn, tmp_path, capsys):
    page, told, pdf = tmp_path / "sub" / "report.html", tmp_path / "answer.json", tmp_path / "report.pdf"
    words = ["report", str(LOGS / "v1_marked"), "-o", str(page), "--json", str(told), "--pdf", str(pdf)]
    assert main.main([*words, "--png", str(tmp_path / "png"), "--against", str(LOGS / "v1_unmarked")]) == 0
    answer = json.loads(told.read_text())
    assert answer["verdict"] == "attention" and answer["verdict"] in capsys.readouterr().out
    assert [len(p["lean_events"]) for p in answer["pulls"]] == [0, 1, 0]
    text = page.read_text()
    licence = (Path(report.__file__).parent / "vendor" / "uplot-LICENSE.txt").read_text()
    assert licence in text and "Permission is hereby granted" in licence
    assert 'id="compare"' in text and "http://" not in text.replace("http://www.w3.org", "")
    assert pdf.read_bytes().startswith(b"%PDF")
    pictures = {path.name for path in (tmp_path / "png").iterdir()}
    assert pictures == {"lambda-over-speed.png", "fuel-map.png", "pull-1.png", "pull-2.png", "pull-3.png"}
    assert all(path.read_bytes().startswith(b"\x89PNG") for path in (tmp_path / "png").iterdir())


@pytest.mark.parametrize(("more", "code"), [((), 1), (("--target-preset", "gas-natural"), 0)])
def test_strict(more, code, tmp_path):
    """By a target of 0.97 at full load the drive is rich throughout."""
    given = ["report", str(LOGS / "v1_marked"), "-o", str(tmp_path / "r.html"), "--strict", *more]
    assert main.main(given) == code
    assert main.main(["pulls", str(LOGS / "v1_marked"), "--strict", *more]) == code


def test_missing_source_is_three_lines(tmp_path, capsys):
    assert main.main(["report", str(tmp_path / "no"), "-o", str(tmp_path / "r.html")]) == 2
    assert len(capsys.readouterr().err.strip().splitlines()) == 3
    assert not (tmp_path / "r.html").exists()


def test_map_as_a_picture(tmp_path, capsys):
    picture = tmp_path / "map.png"
    assert main.main(["fuelmap", str(LOGS / "v1_marked"), "--picture", str(picture)]) == 0
    assert picture.read_bytes().startswith(b"\x89PNG")
    for nowhere in (tmp_path / "no" / "map.png", tmp_path / "map.odd"):
        capsys.readouterr()
        assert main.main(["fuelmap", str(LOGS / "v1_marked"), "--picture", str(nowhere)]) == 2
        assert len(capsys.readouterr().err.strip().splitlines()) == 3


def test_without_what_draws_pictures_nothing_is_written(tmp_path, capsys, monkeypatch):
    monkeypatch.setitem(sys.modules, "matplotlib", None)
    monkeypatch.delitem(sys.modules, "ringpull.report.pictures", raising=False)
    monkeypatch.delattr(report, "pictures", raising=False)
    log, page, table = str(LOGS / "v1_marked"), tmp_path / "r.html", tmp_path / "map.csv"
    for words in (
        ["report", log, "-o", str(page), "--pdf", str(tmp_path / "r.pdf")],
        ["report", log, "-o", str(page), "--png", str(tmp_path)],
        ["fuelmap", log, "-o", str(table), "--picture", str(tmp_path / "map.png")],
    ):
        assert main.main(words) == 2
        told = capsys.readouterr().err
        assert "matplotlib is not installed" in told and len(told.strip().splitlines()) == 3
    assert not list(tmp_path.iterdir())


def test_pictures_that_fail_half_way_leave_those_that_were_there(tmp_path, capsys, monkeypatch):
    from matplotlib.figure import Figure

    def full(_figure, path, **_how):
        Path(path).write_bytes(b"\x89PNG, half of it")
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Figure, "savefig", full)
    folder = tmp_path / "pictures"
    folder.mkdir()
    kept = [folder / "map.png", folder / "lambda-over-speed.png"]
    for path in kept:
        path.write_text("the last one")
    log = str(LOGS / "v1_marked")
    for words in (
        ["fuelmap", log, "--picture", str(kept[0])],
        ["report", log, "-o", str(tmp_path / "r"), "--png", str(folder)],
    ):
        assert main.main(words) == 2
        told = capsys.readouterr().err
        assert "can't be written" in told and len(told.strip().splitlines()) == 3
    assert sorted(folder.iterdir()) == sorted(kept) and {path.read_text() for path in kept} == {"the last one"}


def test_notes_are_text_whatever_they_hold(tmp_path, capsys):
    """Neither the table's own markup nor a terminal's control characters."""
    card = shutil.copytree(LOGS / "v1_marked", tmp_path / "card")
    assert main.main(["note", str(card), "2", "wet [/bold] [red]x[/] :smile: \033[31m\007"]) == 0
    capsys.readouterr()
    for words in (["pulls", str(card)], ["compare", str(card), str(LOGS / "v1_unmarked")]):
        assert main.main(words) == 0
        out = capsys.readouterr().out
        assert "wet [/bold] [red]x[/] :smile:" in out and "\033[31m" not in out and "\007" not in out
