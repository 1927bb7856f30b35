"""Planted truths: what happened in a season is found, attributed to what it was, and nothing else is called."""

from dataclasses import replace
from datetime import UTC, datetime

import pyarrow.parquet as pq
import pytest
import shelf_seasons
from shelf_seasons import Season
from truth.desk import command

from ringpull.errors import BadUsage, MissingPart
from ringpull.shelf import library, putting

pytest.importorskip("ibis", reason="ibis, of the extra `library`, is not installed")
pytest.importorskip("duckdb", reason="duckdb, of the extra `library`, is not installed")
from ringpull.shelf.questions.ask import ask  # noqa: E402
from ringpull.shelf.questions.live import Chosen  # noqa: E402


def places(rows):
    return {(row["rpm"], row["load"]) for row in rows}


def season(tmp_path, judged, seed=1, **more):
    shelf_seasons.write(tmp_path, Season(**more), judged, seed)
    return tmp_path


def test_a_drift_is_found_where_it_is(tmp_path, judged):
    planted = shelf_seasons.often(judged)[:3]
    found = ask(season(tmp_path, judged, drift=dict.fromkeys(planted, 0.06)), "drift", Chosen())
    assert places(found.called) == set(planted)
    for row in found.called:
        assert row["low"] < 0.06 < row["high"] and row["high"] - row["low"] < 0.04


def test_a_noted_change_is_no_drift_and_the_right_entry_gets_it(tmp_path, judged):
    cells = shelf_seasons.often(judged)[4:8]
    log = {8: ("plugs", {}), 16: ("new pump", dict.fromkeys(cells, 0.97)), 24: ("oil", {})}
    shelf = season(tmp_path, judged, changes=log)
    found = ask(shelf, "changes", Chosen())
    assert {row["entry"] for row in found.called} == {"new pump"} and places(found.called) == set(cells)
    assert all(row["low"] < row["before"] * -0.03 < row["high"] for row in found.called)
    assert not ask(shelf, "drift", Chosen()).called


def test_a_change_before_a_drive_that_can_not_be_asked_stays_in_the_log(tmp_path, judged):
    cells = shelf_seasons.often(judged)[4:8]
    log = {16: ("new pump", dict.fromkeys(cells, 0.97))}
    shelf = season(tmp_path, judged, changes=log, doubted=(16,))
    found = ask(shelf, "changes", Chosen())
    assert {row["entry"] for row in found.called} == {"new pump"} and places(found.called) == set(cells)
    assert not ask(shelf, "drift", Chosen()).called


def test_a_drift_is_no_change(tmp_path, judged):
    planted = shelf_seasons.often(judged)[:3]
    log = {15: ("plugs", {})}
    found = ask(season(tmp_path, judged, drift=dict.fromkeys(planted, 0.12), changes=log), "changes", Chosen())
    assert not found.called and {p for p in places(found.rows) if p in planted}
    assert places([row for row in found.rows if row["drifts"]]) == set(planted)


def test_another_fuel_is_an_entry(tmp_path, judged):
    shelf = season(tmp_path, judged, fuel=lambda number: "petrol" if number < 15 else "e85")
    found = ask(shelf, "changes", Chosen())
    assert {row["entry"] for row in found.rows} == {"fuel petrol to e85"} and not found.called
    (drives,) = {row["drives"] for row in ask(shelf, "drift", Chosen(fuel="e85")).rows}
    assert drives == 15


def test_a_lag_that_grows_is_found(tmp_path, judged):
    fitted = datetime(2026, 2, 1, tzinfo=UTC)
    end = 240 / 365.25
    shelf = season(tmp_path, judged, lag=lambda years: 0.080 + 0.060 * years / end, fitted=fitted)
    (row,) = ask(shelf, "delay", Chosen()).called
    assert row["what"] == "lag" and row["value_from"] == pytest.approx(0.080, abs=0.012)
    assert row["value_to"] == pytest.approx(0.140, abs=0.012) and row["age_from"] == pytest.approx(0.08, abs=0.03)
    assert not ask(season(tmp_path / "2", judged), "delay", Chosen()).called


def test_nothing_is_called_where_nothing_happened(tmp_path, judged):
    shelf = season(tmp_path, judged, changes={10: ("plugs", {}), 20: ("oil", {})})
    for question in ("drift", "changes", "delay"):
        found = ask(shelf, question, Chosen())
        assert found.rows and not found.called, question


def test_lean_events_stand_in_their_month_and_speed(tmp_path, judged):
    found = ask(season(tmp_path, judged), "lean", Chosen())
    (event,) = judged.tables["events"]
    assert sum(row["events"] for row in found.rows) == 30
    assert {row["rpm"] for row in found.rows if row["events"]} == {round(event["rpm_deepest"] / 500) * 500}
    assert len({row["month"] for row in found.rows}) == 8
    hole = min(found.rows, key=lambda row: row["least"])
    assert hole["rpm"] in (5000, 5500) and hole["least"] < -0.08


def test_a_car_apart_from_its_like_is_found(tmp_path, judged):
    for at in range(6):
        season(tmp_path, judged, seed=at, car=f"car {at}", drives=12, level=1.04 if at == 3 else 1.0)
    (row,) = ask(tmp_path, "outliers", Chosen()).called
    assert row["car_name"] == "car 3" and row["what"] == "measured / target"
    assert row["difference"] == pytest.approx(0.04, abs=0.006)


def test_other_analyses_and_doubted_drives_are_left_out_and_counted(tmp_path, judged):
    shelf = season(tmp_path, judged, doubted=(3, 4))
    season(shelf, judged, car="old", analysis=0, drives=7)
    found = ask(shelf, "drift", Chosen())
    nothing = {"undated": 0, "guessed": 0, "other_calibration": 0}
    assert found.left_out == {"drives": 37, "doubted": 2, "older": 7} | nothing
    assert {row["car_name"] for row in found.rows} == {"hill"} and {row["drives"] for row in found.rows} <= {28}
    assert any("7 of 37 drives were judged by another analysis" in one for one in found.words)
    assert {row["car_name"] for row in ask(shelf, "drift", Chosen(mixed=True)).rows} == {"hill", "old"}


def test_superseded_rows_and_halves_are_unseen(tmp_path, judged):
    """An older judgement of every drive, and cells that no drive's row names."""
    shelf = season(tmp_path, judged, single=True, drives=6)
    alone = ask(shelf, "lean", Chosen()).as_json()
    for path in [*(shelf / "v1" / "drives").rglob("*.parquet"), *(shelf / "v1" / "cells").rglob("*.parquet")]:
        table = path.parts[-3]
        rows = pq.ParquetFile(path).read().to_pylist()
        others = [row | {"part": "older"} | ({"serial": 0} if table == "drives" else {"ratio": 1.5}) for row in rows]
        putting.put_table(path.with_name("older-" + path.name), table, putting.made(table, others))
        if table == "cells":
            halves = [row | {"part": "half", "ratio": 1.5} for row in rows]
            putting.put_table(path.with_name("half-" + path.name), table, putting.made(table, halves))
    assert ask(shelf, "lean", Chosen()).as_json() == alone
    season(shelf, judged, seed=9, car="other", drives=2)
    assert {row["car_name"] for row in ask(shelf, "lean", Chosen(car="hill")).rows} == {"hill"}


def test_the_command_tells_the_same_in_every_form(tmp_path, judged):
    shelf = season(tmp_path, judged, drift={shelf_seasons.often(judged)[0]: 0.06})
    said = command("ask", shelf, "drift", "--since", "2026-03-01", "--until", "2027-01-01")
    assert said.returncode == 0 and "1 of " in said.stdout and " yes" in said.stdout
    rows = command("ask", shelf, "drift", "--csv").stdout.splitlines()
    assert rows[0].startswith("car_name,bank,rpm") and len(rows) == 1 + len(ask(shelf, "drift", Chosen()).rows)
    assert command("ask", shelf, "drift", "--csv", "--json").returncode == 2
    assert command("ask", shelf, "drift", "--car", "none").returncode == 2
    assert command("ask", tmp_path / "none", "drift").returncode == 2
    with pytest.raises(BadUsage):
        ask(shelf, "drift", Chosen(), "polars")


def test_without_the_libraries_one_line_says_how_to_get_them(monkeypatch):
    monkeypatch.setitem(__import__("sys").modules, "duckdb", None)
    with pytest.raises(MissingPart) as stop:
        library.ibis()
    assert "[library]" in stop.value.step


def test_the_page_shows_the_season_and_asks_for_nothing(tmp_path, judged):
    planted = shelf_seasons.often(judged)[0]
    shelf = season(tmp_path, judged, drift={planted: 0.08}, changes={20: ("<b>pump</b>", {})})
    done = command("ask", shelf, "drift", "--page", tmp_path / "season.html")
    assert done.returncode == 0, done.stderr
    page = (tmp_path / "season.html").read_text()
    assert "30 lean events, at 5000 rpm" in page and f"{planted[0]} rpm, {planted[1]} kPa gets leaner by" in page
    assert "&lt;b&gt;pump" in page and "<b>pump" not in page and page.count("<svg") == 2
    assert "http" not in page.replace("http-equiv", "") and "<script" not in page
    season(shelf, judged, seed=2, car="other", drives=6)
    refused = command("ask", shelf, "drift", "--page", tmp_path / "other.html")
    assert refused.returncode == 2 and "--car" in refused.stderr and not (tmp_path / "other.html").exists()


def test_a_shelf_without_events_is_asked_too(tmp_path, judged):
    quiet = replace(judged, tables={**judged.tables, "events": [], "delays": []})
    shelf = season(tmp_path, quiet)
    assert sum(row["events"] for row in ask(shelf, "lean", Chosen()).rows) == 0
    assert ask(shelf, "delay", Chosen(car="hill")).rows == [] and not ask(shelf, "outliers", Chosen()).rows
    (tmp_path / "bare" / "v1").mkdir(parents=True)
    with pytest.raises(BadUsage, match="holds no drive"):
        ask(tmp_path / "bare", "lean", Chosen())


def test_an_entry_that_can_not_be_compared_is_told_with_the_reason(tmp_path, judged):
    shelf = season(tmp_path, judged, drives=12, changes={6: ("plugs", {}), 11: ("pump", {})})
    words = ask(shelf, "changes", Chosen()).words
    (told,) = [one for one in words if "pump" in one]
    assert "not compared; 2 drives on each side are needed" in told and "more than 5 before it and 1 after it" in told
    assert not any("plugs: not compared" in one for one in words)


def test_no_drive_in_that_time_is_not_nothing_under_load(tmp_path, judged):
    shelf = season(tmp_path, judged, drives=4)
    for question in ("lean", "outliers"):
        words = ask(shelf, question, Chosen("hill", since=40_000.0)).words
        assert words == ["there is no drive to ask of the car hill of 2079-07-08 or later"], question
    assert ask(shelf, "lean", Chosen(fuel="e85")).words == ["there is no drive to ask with the fuel e85"]


def test_too_few_drives_for_a_line_are_counted(tmp_path, judged):
    shelf = season(tmp_path, judged, drives=4)
    assert "5 drives are needed, the most-driven cell has 4" in ask(shelf, "drift", Chosen()).words
    (told,) = ask(shelf, "delay", Chosen()).words
    assert told.startswith("5 drives are needed, ") and told.endswith("has 4")
