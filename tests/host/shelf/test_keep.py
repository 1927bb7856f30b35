"""Drives kept, kept again, kept longer, and refused; what their files hold."""

import json
import shutil

import pyarrow.parquet as pq
import pytest
import shelf_cards
from truth.desk import command

import ringpull
from ringpull.errors import BadConfig, BadUsage
from ringpull.files import configuration
from ringpull.shelf import catalogue, judging, keep, ring_copy, tidy
from ringpull.shelf.keep import Told
from ringpull.shelf.places import Shelf, folder_name
from ringpull.shelf.tables import TABLES
from ringpull.shelf.version import ANALYSIS

TOLD = Told("hill", on="2026-04-01")


def rows_of(shelf, table):
    return [row for path in Shelf(shelf).files(table) for row in pq.ParquetFile(path).read().to_pylist()]


def test_what_is_kept_is_what_the_answer_says(tmp_path):
    source = shelf_cards.card(tmp_path / "card", utc="2026-04-02T10:30:00Z")
    (outcome,) = keep.keep(tmp_path / "shelf", source, TOLD)
    answer = ringpull.read(source).answer()
    assert (outcome.drive, outcome.what) == ("63617231-1", keep.KEPT)
    (row,) = rows_of(tmp_path / "shelf", "drives")
    assert row["date"].isoformat() == "2026-04-02T10:30:00+00:00" and row["date_from"] == "clock"
    assert row["month"] == "2026-04" and row["verdict"] == answer.verdict and row["pulls"] == 3
    pulls = rows_of(tmp_path / "shelf", "pulls")
    assert [p["lambda_mean"] for p in pulls] == pytest.approx([p.numbers.lambda_mean for p in answer.pulls])
    (event,) = rows_of(tmp_path / "shelf", "events")
    (told,) = answer.pulls[1].lean_events
    assert event["pull"] == 2 and event["depth"] == pytest.approx(told.depth)
    cells = rows_of(tmp_path / "shelf", "cells")
    assert {c["pull"] for c in cells} == {1, 2, 3} and all(c["rpm"] % 500 == 0 for c in cells)
    in_hole = max(cells, key=lambda c: c["ratio_max"])
    assert in_hole["pull"] == 2 and in_hole["rpm"] in (5000, 5500)
    rows = rows_of(tmp_path / "shelf", "rows")
    assert len(rows) == sum(len(p.pull.frame()) for p in answer.pulls)
    (delay,) = rows_of(tmp_path / "shelf", "delays")
    assert delay["found"] and delay["lag_s"] == pytest.approx(answer.alignment["tau_s"], abs=1e-4)
    assert len(rows_of(tmp_path / "shelf", "instruments")) == len(answer.instruments)


def test_files_are_as_they_are_described(tmp_path, quick):
    keep.keep(tmp_path / "shelf", shelf_cards.card(tmp_path / "card"), TOLD)
    for table, columns in TABLES.items():
        (path,) = Shelf(tmp_path / "shelf").files(table)
        assert path.parent.name == "car=c_hill" and path.name.startswith("63617231-1_")
        file = pq.ParquetFile(path)
        assert file.schema_arrow.names == [one.name for one in columns]
        assert file.schema_arrow.metadata[b"ringpull.table"] == table.encode()
        units = {f.name: (f.metadata or {}).get(b"unit", b"").decode() for f in file.schema_arrow}
        assert units == {one.name: one.unit for one in columns}
        group = file.metadata.row_group(0)
        for at in range(group.num_columns):
            column = group.column(at)
            assert column.compression == "ZSTD"
            assert (column.physical_type in ("FLOAT", "DOUBLE")) == ("BYTE_STREAM_SPLIT" in column.encodings)


def test_a_card_kept_again_is_skipped_by_its_content(tmp_path, quick):
    source = shelf_cards.card(tmp_path / "card")
    keep.keep(tmp_path / "shelf", source, TOLD)
    moved = shutil.copytree(source, tmp_path / "copy")
    (again,) = keep.keep(tmp_path / "shelf", moved, TOLD)
    assert again.what == keep.AGAIN
    assert len(quick) == 1 and len(rows_of(tmp_path / "shelf", "drives")) == 1


def test_a_card_that_recorded_on_is_no_card_kept_before(tmp_path):
    """The logger overwrites sectors in place: size and date of the file stay."""
    source = shelf_cards.card(tmp_path / "card") / "drive.rpl"
    before = ring_copy.fingerprint(source)
    data = bytearray(source.read_bytes())
    for at in (600, len(data) // 2, len(data) - 1):
        data[at] ^= 1
        source.write_bytes(data)
        assert ring_copy.fingerprint(source) != before
        data[at] ^= 1
    source.write_bytes(data)
    assert ring_copy.fingerprint(source) == before


def test_a_longer_copy_replaces_the_shorter(tmp_path, quick):
    short = shelf_cards.card(tmp_path / "short", most=150)
    long = shelf_cards.card(tmp_path / "long")
    shelf = tmp_path / "shelf"
    assert keep.keep(shelf, short, TOLD)[0].what == keep.KEPT
    assert keep.keep(shelf, long, TOLD)[0].what == keep.LONGER
    (row,) = rows_of(shelf, "drives")
    assert row["blocks"] == len((long / "drive.rpl").read_bytes()) // 512
    assert [len(Shelf(shelf).files(table)) for table in TABLES] == [1] * len(TABLES)
    assert keep.keep(shelf, short, TOLD)[0].what == keep.AGAIN
    assert rows_of(shelf, "drives") == [row]


@pytest.mark.parametrize("how", [{"spoilt": 40}, {"config": (b'"cylinders":4', b'"cylinders":6')}, {"board": "rpx"}])
def test_another_recording_of_the_same_id_is_refused(tmp_path, quick, how):
    keep.keep(tmp_path / "shelf", shelf_cards.card(tmp_path / "card"), TOLD)
    other = shelf_cards.card(tmp_path / "other", **how)
    with pytest.raises(ring_copy.OtherRecording):
        keep.keep(tmp_path / "shelf", other, TOLD)
    assert len(rows_of(tmp_path / "shelf", "drives")) == 1


def test_a_drive_of_another_car_is_refused(tmp_path, quick):
    source = shelf_cards.card(tmp_path / "card")
    keep.keep(tmp_path / "shelf", source, TOLD)
    with pytest.raises(BadUsage, match="as one of the car 'hill'"):
        keep.keep(tmp_path / "shelf", source, Told("town", on="2026-04-01"))


def test_invented_drives_share_their_ids(tmp_path, quick):
    cards = [shelf_cards.card(tmp_path / str(at), board="desk", spoilt=at) for at in (20, 40)]
    with pytest.raises(BadUsage, match="on a desk"):
        keep.keep(tmp_path / "shelf", cards[0], TOLD)
    told = Told("hill", on="2026-04-01", invented=True)
    names = [keep.keep(tmp_path / "shelf", one, told)[0].drive for one in [*cards, cards[0]]]
    assert names[0] == names[2] != names[1]
    assert [row["invented"] for row in rows_of(tmp_path / "shelf", "drives")] == [True, True]


def test_what_is_told_anew_replaces_what_was_told(tmp_path, quick):
    source, shelf = shelf_cards.card(tmp_path / "card"), tmp_path / "shelf"
    keep.keep(shelf, source, Told("hill", on="2026-04-01", change="new pump", fuel="e85", sensor_fitted="2026-01-01"))
    assert keep.keep(shelf, source, Told("hill"))[0].what == keep.AGAIN
    assert keep.keep(shelf, source, Told("hill", on="2026-04-03"))[0].what == keep.NOTED
    (row,) = rows_of(shelf, "drives")
    assert (row["change"], row["fuel"], row["day"], row["sensor_day"]) == ("new pump", "e85", 20546.0, 20454.0)


def test_a_date_says_where_it_is_from(tmp_path, quick):
    source, shelf = shelf_cards.card(tmp_path / "card"), tmp_path / "shelf"
    assert keep.keep(shelf, source, Told("hill"))[0].date_from == "file's date"
    (source / "notes.json").write_text(json.dumps({"date": "2026-03-01"}))
    (outcome,) = keep.keep(shelf, source, Told("hill", change="x"))
    assert (outcome.day, outcome.date_from) == ("2026-03-01", "noted")


@pytest.mark.parametrize("car", ["007", "Hügel/2 b", "a b"])
def test_any_name_of_a_car_is_kept_and_found(tmp_path, quick, car):
    keep.keep(tmp_path / "shelf", shelf_cards.card(tmp_path / "card"), Told(car, on="2026-04-01"))
    (row,) = catalogue.drives(Shelf(tmp_path / "shelf"), car)
    assert row["car_name"] == car and folder_name(car).isascii()
    assert len({folder_name(one) for one in ("a b", "a~20b", "a_b")}) == 3


def test_a_mended_calibration_lies_beside_the_ring(tmp_path):
    shelf, source = tmp_path / "shelf", shelf_cards.card(tmp_path / "card")
    keep.keep(shelf, source, TOLD)
    before = rows_of(shelf, "pulls")
    (ring,) = Shelf(shelf).folder("rings", "hill").iterdir()
    content = ring.read_bytes()
    config = json.loads((shelf_cards.drive_config()).read_text())
    config["channels"][0]["values"] = [0.61, 1.41]
    (tmp_path / "mended.json").write_text(json.dumps(config))
    done = command("rejudge", shelf, "--car", "hill", "--config", tmp_path / "mended.json")
    assert done.returncode == 0, done.stderr
    after = rows_of(shelf, "pulls")
    assert [p["lambda_mean"] for p in after] == pytest.approx([p["lambda_mean"] + 0.01 for p in before], abs=0.002)
    assert ring.read_bytes() == content and [ring] == list(ring.parent.iterdir())
    (row,) = rows_of(shelf, "drives")
    assert row["calibration_from"].endswith(".json")
    config["channels"][0]["input"] = "a7"
    with pytest.raises(BadConfig, match="another logger"):
        judging.judge(ring, configuration.of(config))


def test_kept_tells_what_is_out_of_date(tmp_path, quick, monkeypatch):
    shelf = tmp_path / "shelf"
    keep.keep(shelf, shelf_cards.card(tmp_path / "1"), TOLD)
    keep.keep(shelf, shelf_cards.card(tmp_path / "2", session=2), Told("hill", on="2026-05-01", change="new pump"))
    said = command("kept", shelf).stdout
    assert "hill, 2026-05-01: new pump" in said and "rejudge" not in said
    monkeypatch.setattr("ringpull.shelf.contents.ANALYSIS", ANALYSIS + 1)
    assert "hill: 2 drives were judged by an older analysis: ringpull rejudge" in command("kept", shelf).stdout
    told = json.loads(command("kept", shelf, "--json").stdout)
    assert told["cars"][0]["drives"] == 2 and told["cars"][0]["old_analysis"] == 2


def test_tidying_changes_no_answer(tmp_path, quick):
    shelf = tmp_path / "shelf"
    for session in (1, 2, 3):
        keep.keep(shelf, shelf_cards.card(tmp_path / str(session), session=session), TOLD)
    before = {table: len(rows_of(shelf, table)) for table in TABLES}
    names = [row["drive"] for row in catalogue.drives(Shelf(shelf))]
    (tidied,) = tidy.tidy(shelf)
    assert tidied.drives == 3 and tidied.files == (18, 6)
    assert {table: len(rows_of(shelf, table)) for table in TABLES} == before
    rows = catalogue.drives(Shelf(shelf))
    assert [row["drive"] for row in rows] == names
    parts = {(row["drive"], row["part"]) for row in rows}
    assert all((cell["drive"], cell["part"]) in parts for cell in rows_of(shelf, "cells"))
    samples = {(row["drive"], row["rows_part"]) for row in rows}
    assert all((one["drive"], one["part"]) in samples for one in rows_of(shelf, "rows")[::500])
    keep.keep(shelf, shelf_cards.card(tmp_path / "4", session=4), TOLD)
    assert len(catalogue.drives(Shelf(shelf))) == 4
    tidy.tidy(shelf)
    assert {table: len(Shelf(shelf).files(table)) for table in TABLES} == dict.fromkeys(TABLES, 1) | {"rows": 4}
    assert len(rows_of(shelf, "cells")) == before["cells"] // 3 * 4


def test_errors_are_told_in_three_lines(tmp_path):
    for words in (
        ["kept", tmp_path / "none"],
        ["tidy", tmp_path / "none"],
        ["rejudge", tmp_path / "none"],
        ["keep", tmp_path / "no_card", "--in", tmp_path / "shelf", "--car", "hill"],
        ["keep", tmp_path, "--in", tmp_path / "shelf", "--car", ""],
        ["keep", tmp_path, "--in", tmp_path / "shelf", "--car", "hill", "--on", "1.4.2026"],
        ["keep", tmp_path, tmp_path, "--in", tmp_path / "shelf", "--car", "hill", "--change", "pump"],
    ):
        done = command(*words)
        assert done.returncode == 2 and done.stderr.startswith("error: ") and len(done.stderr.splitlines()) == 3
