"""SHELF.md says what the files hold, and its queries run."""

import re

import pytest
import shelf_cards
import shelf_seasons

from ringpull.shelf import judging
from ringpull.shelf.putting import GROUP_ROWS
from ringpull.shelf.tables import FORMAT
from tests.make import shelf_tables

PAGE = shelf_tables.PAGE.read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def shelf(tmp_path_factory):
    judged = judging.judge(shelf_cards.card(tmp_path_factory.mktemp("judged")) / "drive.rpl")
    root = tmp_path_factory.mktemp("shelf")
    shelf_seasons.write(root, shelf_seasons.Season(drives=6, doubted=(2,)), judged, 1)
    shelf_seasons.write(root, shelf_seasons.Season(car="007", drives=4, single=True), judged, 2)
    return root


def query(language, shelf):
    (text,) = re.findall(rf"```{language}\n(.*?)```", PAGE, re.S)
    return text.replace("SHELF/", f"{shelf}/")


def python(which, shelf):
    text = re.findall(r"```python\n(.*?)```", PAGE, re.S)[which].replace("SHELF/", f"{shelf}/")
    names = {}
    exec(text, names)
    return names["answer"]


def in_pandas(shelf):
    frame = python(0, shelf).reset_index()
    return [(*row[:3], pytest.approx(row[3], abs=1e-6), row[4]) for row in frame.itertuples(index=False, name=None)]


def test_the_tables_are_the_codes_own():
    assert shelf_tables.shown() == shelf_tables.tables(), "write it anew: python -m tests.make.shelf_tables"
    assert f"Format {FORMAT}." in PAGE and f"{GROUP_ROWS:,} rows" in PAGE


def test_pandas_reads_it(shelf):
    rows = in_pandas(shelf)
    assert {row[0] for row in rows} == {"hill", "007"} and {row[4] for row in rows if row[0] == "007"} <= {1, 2, 3, 4}


def test_duckdb_reads_it(shelf):
    duckdb = pytest.importorskip("duckdb", reason="duckdb, of the extra `library`, is not installed")
    assert duckdb.sql(query("sql", shelf)).fetchall() == in_pandas(shelf)


@pytest.mark.slow
def test_spark_reads_it(shelf):
    pytest.importorskip("pyspark", reason="pyspark, of the extra `cluster`, is not installed")
    assert [tuple(row) for row in python(1, shelf).collect()] == in_pandas(shelf)
