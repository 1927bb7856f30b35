"""Map, curve and comparison are made once: page, print, picture and command show the same."""

import csv
import json
import re
from pathlib import Path

import numpy as np
import pytest
from analysis_scenes import Hole, StandInDrive, StandInSession, scene

import ringpull
from ringpull.analysis.answer import answer
from ringpull.analysis.cells import fuelmap, settling, speed_curve
from ringpull.analysis.cells.cell import JUDGED, NEVER_VISITED, NOT_MAPPED, TOO_FEW, Cell
from ringpull.analysis.cells.fuelmap import FuelMap
from ringpull.analysis.cells.passes import Axes
from ringpull.analysis.judge import session
from ringpull.cli.commands.fuelmap import table_rows
from ringpull.cli.main import main
from ringpull.files.axis_tables import UNDER_LOAD
from ringpull.report import map_part, map_words, pictures

LOGS = Path(__file__).resolve().parents[3] / "demo_logs"
AXES = Axes(np.array([3000.0, 3500.0]), np.array([60.0, 80.0]))


def cell(state, loaded=True, ratio=1.03, factor=np.nan, **more):
    low, high = (ratio - 0.01, ratio + 0.01) if state == JUDGED else (np.nan, np.nan)
    return Cell(3000.0, 80.0, 3, 2.0, loaded, ratio, low, high, factor, 0.01, state, **more)


def test_a_place_has_one_value_in_page_picture_and_table():
    # a pass of its own under load says too little: what was judged at part load counts, in all of them
    made = FuelMap(AXES, (cell(TOO_FEW, True, 1.08), cell(JUDGED, False, 1.03, 1.02)), load_unit="kPa")
    assert made.places[80.0, 3000.0].ratio == 1.03
    page = map_part.part(made)
    assert ">1.03<" in page and page.count('class="cell') == 1
    (square,) = re.findall(r'data-told="([^"]*)"', page)
    assert "multiply fuel by 1.020" in square
    texts = [one.get_text() for one in pictures.fuel_map(made).axes[0].texts]
    assert texts == ["1.030\n× 1.020\nn 3"]
    factors = [["", "3000", "3500"], ["60", "", ""], ["80", "1.020", ""]]
    assert table_rows(made) == [*factors, [], [UNDER_LOAD, "3000", "3500"], ["60", "", ""], ["80", "no", ""]]


def test_never_visited_and_not_mapped_differ_from_on_target():
    made = FuelMap(AXES, (cell(JUDGED, True, 1.0, 1.0),), load_unit="kPa")
    states = {(c.load, c.rpm): c.state for c in made.every_cell}
    assert states == {
        (60.0, 3000.0): NEVER_VISITED,
        (60.0, 3500.0): NEVER_VISITED,
        (80.0, 3000.0): JUDGED,
        (80.0, 3500.0): NEVER_VISITED,
    }
    assert table_rows(made)[2] == ["80", "1.000", ""]
    assert len(pictures.fuel_map(made).axes[0].texts) == 1


def test_a_cell_with_a_lean_event_is_flagged_and_nothing_is_taken_away_there():
    # 4 % rich everywhere, and in one of four pulls a hole: on average the cells of the hole are still rich
    made = scene(pulls=4, offset=-0.035, hole=Hole(2, 4600, 4900, 0.09))
    drive = StandInDrive(StandInSession(made.columns, [(a, b, False) for a, b in made.spans]))
    found = fuelmap.of_drive(drive)
    flagged = [c for c in found.cells if c.lean_event and c.loaded and c.state == JUDGED]
    assert flagged and all(c.ratio < 1.0 and c.factor >= 1.0 for c in flagged)
    clean = [c for c in found.cells if not c.lean_event and c.loaded and c.state == JUDGED and c.load > 160]
    assert clean and all(c.factor < 1.0 for c in clean)
    assert any("lean event" in words for words in map_words.sentences(found))
    assert "a lean event lies in it" in map_part.part(found)


def test_what_was_only_seen_while_the_engine_settled_is_told_as_not_mapped():
    made = scene(pulls=4)
    drive = StandInDrive(StandInSession(made.columns, [(a, b, False) for a, b in made.spans]))
    found = fuelmap.of_drive(drive)
    unmapped = [c for c in found.cells if c.state == NOT_MAPPED]
    # the pulls leave 2,500 rpm, and pressure takes 0.7 s to rise
    assert unmapped and all(c.rpm <= 3500 and not np.isfinite(c.ratio) for c in unmapped)
    assert any("not mapped" in words for words in map_words.sentences(found))
    ready = session.prepare(made.columns)
    opened = settling.settling(ready)
    start = made.spans[0][0]
    rows = made.columns.rows(start + 0.3, start + 0.9)
    assert opened[rows].all() and not opened[made.columns.rows(start + 1.3, start + 3.0)].any()


def test_commands_and_report_of_a_card_agree(tmp_path, capsys):
    log = str(LOGS / "v1_marked")
    table, cells = tmp_path / "table.csv", tmp_path / "cells.csv"
    assert main(["fuelmap", log, "--table", str(table), "-o", str(cells), "--json"]) == 0
    listed = json.loads(capsys.readouterr().out)["cells"]
    assert {c["state"] for c in listed} == {JUDGED, TOO_FEW, NOT_MAPPED, NEVER_VISITED}
    assert len(list(csv.reader(cells.open()))) == len(listed) + 1
    places = fuelmap.of_drive(ringpull.read(log)).places
    speeds, *rows = list(csv.reader(table.open()))
    half = rows.index([])
    assert rows[half + 1] == [UNDER_LOAD, *speeds[1:]]
    for load, *told in rows[half + 2 :]:
        for rpm, word in zip(speeds[1:], told, strict=True):
            known = places.get((float(load), float(rpm)))
            factor = known is not None and np.isfinite(known.factor)
            assert word == ("" if not factor else "yes" if known.loaded else "no")
    for load, *factors in rows[:half]:
        for rpm, factor in zip(speeds[1:], factors, strict=True):
            known = places.get((float(load), float(rpm)))
            assert factor == ("" if known is None or not np.isfinite(known.factor) else f"{known.factor:.3f}")
    page = tmp_path / "report.html"
    assert main(["report", log, "-o", str(page)]) == 0
    shown = re.findall(r'data-rpm="(\d+)" data-load="([^"]*)"[^>]*data-told="([^"]*)"', page.read_text())
    assert len(shown) == len(places)
    for rpm, load, told in shown:
        assert told == map_part.told(places[float(load), float(rpm)])


def test_the_curve_shows_gaps_where_nothing_was_judged():
    made = scene(pulls=2)
    start, _ = made.spans[1]
    rows = made.columns.rows(start + 3.0, start + 3.3)
    made.columns.rpm[rows] = np.nan  # 210 rpm of the pull, three tenths of a second without engine speed
    drive = StandInDrive(StandInSession(made.columns, [(a, b, False) for a, b in made.spans]))
    whole, holed = speed_curve.of_answer(answer(drive)).lines
    inside = (whole.rpm > 4500) & (whole.rpm < 6500)
    assert np.isfinite(whole.mixture[inside]).all()
    gap = (holed.rpm > 4660) & (holed.rpm < 4780)
    assert gap.sum() >= 2 and np.isnan(holed.mixture[gap]).all()


@pytest.mark.parametrize("rate_rpm_s", [700.0, 9000.0])
def test_a_curve_has_no_gap_where_rows_lie_further_apart_than_its_bins(rate_rpm_s):
    made = scene(pulls=1, rate_rpm_s=rate_rpm_s, rpm_low=1500.0, rpm_high=9000.0)
    ready = session.prepare(made.columns, identified=False)
    ready.loaded[:] = True
    for flags in ready.masks.by_name.values():
        flags[:] = False
    line = speed_curve.pull_curve(ready, 1, *made.spans[0])
    assert np.isfinite(line.mixture).all()
