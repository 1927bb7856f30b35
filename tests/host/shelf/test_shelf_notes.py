"""A note changes the note alone: what judged a drive stays what judged it, and figures of several are told."""

import json
from dataclasses import replace

import pyarrow.parquet as pq
import pytest
import shelf_cards
from truth.desk import command

from ringpull.cli.main import main
from ringpull.dryrun.run import load_config
from ringpull.errors import BadConfig
from ringpull.files import configuration
from ringpull.shelf import calibrations, catalogue, judging, keep, page, rejudge, tidy
from ringpull.shelf.contents import contents
from ringpull.shelf.keep import Told
from ringpull.shelf.places import Shelf
from ringpull.shelf.questions.found import Found
from ringpull.shelf.tables import TABLES

TOLD = Told("hill", on="2026-04-01")
NAME = "63617231-1"


@pytest.fixture
def asked(judged, monkeypatch):
    """Judging takes no time and tells by what it judged: a configuration that was given comes to another verdict.
    Returns these configurations."""
    seen = []

    def judge(ring, calibration=None):
        seen.append(calibration)
        if calibration is None:
            return judged
        own = {"verdict": "no lean event found", "calibration": judging.digest(calibration.written)}
        return replace(judged, drive=judged.drive | own)

    monkeypatch.setattr(judging, "judge", judge)
    return seen


def mended(shelf, value=0.61):
    """The car's drives judged by a mended configuration; returns where it lies."""
    config = load_config(shelf_cards.drive_config())[0].written
    config["channels"][0]["values"] = [value, value + 0.8]
    path = calibrations.put(shelf, "hill", configuration.of(config))
    list(rejudge.each(shelf, rejudge.wanted(shelf, "hill"), path))
    return path


def rows_of(shelf, table):
    return [row for path in Shelf(shelf).files(table) for row in pq.ParquetFile(path).read().to_pylist()]


@pytest.mark.parametrize("tidied", [False, True])
def test_a_note_changes_the_note_alone(tmp_path, asked, tidied):
    shelf, source = tmp_path / "shelf", shelf_cards.card(tmp_path / "card")
    keep.keep(shelf, source, TOLD)
    keep.keep(shelf, shelf_cards.card(tmp_path / "2", session=2), TOLD)
    path = mended(shelf)
    if tidied:
        tidy.tidy(shelf)
    before = {table: len(rows_of(shelf, table)) for table in TABLES}
    (row,) = catalogue.drives(Shelf(shelf), drive=NAME)
    del asked[:]
    (outcome,) = keep.keep(shelf, source, Told("hill", on="2026-06-13", change="plugs"))
    assert (outcome.what, outcome.verdict, asked) == (keep.NOTED, "no lean event found", [])
    (noted,) = catalogue.drives(Shelf(shelf), drive=NAME)
    changed = {key for key, value in noted.items() if value != row[key]}
    assert changed == {"date", "day", "month", "change", "part", "rows_part", "serial", "ring"}
    assert noted["calibration_from"] == path.name and noted["change"] == "plugs"
    tidy.tidy(shelf)
    after = {table: [one for one in rows_of(shelf, table) if one["drive"] == NAME] for table in TABLES}
    (noted,) = after["drives"]
    assert {one["part"] for table in ("cells", "pulls", "events") for one in after[table]} == {noted["part"]}
    assert len(after["cells"]) == before["cells"] // 2
    assert sum(one["part"] == noted["rows_part"] for one in after["rows"]) == before["rows"] // 2
    assert keep.keep(shelf, source, Told("hill"))[0].verdict == "no lean event found"


def test_a_longer_copy_is_judged_by_what_was_given_for_its_drive(tmp_path, asked):
    shelf = tmp_path / "shelf"
    keep.keep(shelf, shelf_cards.card(tmp_path / "short", most=150), TOLD)
    path = mended(shelf)
    (outcome,) = keep.keep(shelf, shelf_cards.card(tmp_path / "long"), TOLD)
    assert (outcome.what, outcome.verdict) == (keep.LONGER, "no lean event found")
    (row,) = catalogue.drives(Shelf(shelf))
    assert row["calibration_from"] == path.name and row["calibration"] == judging.digest(json.loads(path.read_text()))


def test_a_card_kept_before_has_the_shelfs_verdict(tmp_path, asked):
    shelf, source = tmp_path / "shelf", shelf_cards.card(tmp_path / "card")
    assert keep.keep(shelf, source, TOLD)[0].verdict == "attention"
    mended(shelf)
    (again,) = keep.keep(shelf, source, TOLD)
    assert (again.what, again.verdict) == (keep.AGAIN, "no lean event found")


def test_a_note_on_a_drive_of_an_older_analysis_judges_it_anew(tmp_path, asked, monkeypatch):
    shelf, source = tmp_path / "shelf", shelf_cards.card(tmp_path / "card")
    keep.keep(shelf, source, TOLD)
    path = mended(shelf)
    monkeypatch.setattr(keep, "ANALYSIS", keep.ANALYSIS + 1)
    assert keep.keep(shelf, source, Told("hill", change="plugs"))[0].what == keep.NOTED
    assert asked[-1].written == json.loads(path.read_text())


def test_a_note_that_somebody_overtakes_is_made_on_what_counts_then(tmp_path, asked, monkeypatch):
    shelf, source = tmp_path / "shelf", shelf_cards.card(tmp_path / "card")
    keep.keep(shelf, source, TOLD)
    real, once = keep.copied, []

    def copied(*words):
        out = real(*words)
        if not once:
            once.append(mended(shelf))
        return out

    monkeypatch.setattr(keep, "copied", copied)
    assert keep.keep(shelf, source, Told("hill", change="plugs"))[0].verdict == "no lean event found"
    (row,) = catalogue.drives(Shelf(shelf))
    assert row["change"] == "plugs" and row["calibration_from"] == once[0].name
    assert (Shelf(shelf).folder("rings", "hill") / row["ring"]).is_file()


def test_drives_that_two_calibrations_judged_are_told_with_what_to_do(tmp_path, asked, capsys):
    pytest.importorskip("ibis", reason="ibis, of the extra `library`, is not installed")
    pytest.importorskip("duckdb", reason="duckdb, of the extra `library`, is not installed")
    shelf = tmp_path / "a shelf"
    keep.keep(shelf, shelf_cards.card(tmp_path / "1"), TOLD)
    path = mended(shelf)
    keep.keep(shelf, shelf_cards.card(tmp_path / "2", session=2), TOLD)
    words = "hill: 1 drive was judged by another calibration than the one given last: ringpull rejudge"
    how = ["ringpull", "rejudge", str(shelf), "--car", "hill", "--config", str(path)]
    assert contents(shelf)[0].calibration == calibrations.command(Shelf(shelf), "hill", path)
    assert main(["ask", str(shelf), "lean"]) == 0
    assert words in capsys.readouterr().out
    (car,) = contents(shelf)
    text = page.document(car, {question: Found(question, (), [], []) for question in page.ASKED})
    assert words in text[text.index('id="answer"') : text.index('id="lean"')]
    assert main(["kept", str(shelf)]) == 0
    assert words in capsys.readouterr().out
    assert main(how[1:]) == 0
    said = capsys.readouterr().out.splitlines()
    assert "judged so before" in said[0] and f"{NAME[:-1]}2: judged;" in said[1]
    assert contents(shelf)[0].old_calibration == 0 and len(list(path.parent.iterdir())) == 1


def test_a_ring_whose_own_configuration_is_the_one_given_last_is_no_other():
    last = shelf_cards.drive_config()
    rows = [{"calibration": "a", "calibration_from": last.name}, {"calibration": "a", "calibration_from": "ring"}]
    assert calibrations.others(rows, last) == 0 and calibrations.others(rows[1:], last) == 1
    assert calibrations.others([*rows, {"calibration": "b", "calibration_from": "ring", "n": 3}], last) == 3


def test_a_configuration_of_another_logger_is_refused_once_and_not_laid_down(tmp_path, asked):
    shelf = tmp_path / "shelf"
    for session in (1, 2, 3):
        keep.keep(shelf, shelf_cards.card(tmp_path / str(session), session=session), TOLD)
    config = json.loads(shelf_cards.drive_config().read_text())
    config["channels"][0]["input"] = "a7"
    (tmp_path / "wrong.json").write_text(json.dumps(config))
    with pytest.raises(BadConfig, match="another logger"):
        rejudge.refuse_other_loggers(shelf, rejudge.wanted(shelf, "hill"), configuration.of(config))
    done = command("rejudge", shelf, "--car", "hill", "--config", tmp_path / "wrong.json")
    assert done.returncode == 2 and len(done.stderr.splitlines()) == 3 and not done.stdout
    assert calibrations.newest(Shelf(shelf), "hill") is None


def test_judging_again_says_whether_anything_was_newer(tmp_path, asked, monkeypatch):
    shelf = tmp_path / "shelf"
    keep.keep(shelf, shelf_cards.card(tmp_path / "card"), TOLD)
    assert [one.what for one in rejudge.each(shelf, rejudge.wanted(shelf))] == [rejudge.SAME]
    path = mended(shelf)
    assert [one.what for one in rejudge.each(shelf, rejudge.wanted(shelf), path)] == [rejudge.STANDS]
    monkeypatch.setattr(rejudge, "ANALYSIS", rejudge.ANALYSIS + 1)
    assert [one.what for one in rejudge.each(shelf, rejudge.wanted(shelf), path)] == [rejudge.JUDGED]
