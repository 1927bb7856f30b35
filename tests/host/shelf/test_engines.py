"""Other engines give the same answers, and a cluster's workers keep cards."""

import json

import pytest
import shelf_cards
import shelf_seasons
from truth.desk import command

from ringpull.shelf import catalogue, judging
from ringpull.shelf.places import Shelf
from ringpull.shelf.tables import TABLES
from ringpull.shelf.version import ANALYSIS

pytestmark = pytest.mark.slow
IBIS = "ibis, of the extra `library`, is not installed"


@pytest.fixture(scope="module")
def shelf(tmp_path_factory):
    judged = judging.judge(shelf_cards.card(tmp_path_factory.mktemp("judged")) / "drive.rpl")
    root = tmp_path_factory.mktemp("shelf")
    cells = shelf_seasons.often(judged)
    season = shelf_seasons.Season(
        drift={cells[0]: 0.06},
        changes={10: ("new pump", {cells[4]: 1.03}), 20: ("plugs", {})},
        lag=lambda years: 0.08 + 0.09 * years,
        fitted=shelf_seasons.BEGIN,
        doubted=(7,),
    )
    shelf_seasons.write(root, season, judged, 1)
    for at in range(4):
        judged_by = ANALYSIS if at else ANALYSIS - 1
        other = shelf_seasons.Season(car=f"car {at}", drives=8, analysis=judged_by, single=at == 2)
        shelf_seasons.write(root, other, judged, 2 + at)
    return root


def test_spark_and_duckdb_agree_to_the_last_digit(shelf):
    pytest.importorskip("ibis", reason=IBIS)
    pytest.importorskip("pyspark", reason="pyspark, of the extra `cluster`, is not installed")
    from ringpull.shelf.questions.ask import QUESTIONS, ask
    from ringpull.shelf.questions.live import Chosen, Engine

    engines = Engine("duckdb"), Engine("pyspark", "local[2]")
    for question in QUESTIONS:
        one, other = (ask(shelf, question, Chosen(), engine).as_json() for engine in engines)
        assert one == other and one["rows"], question


def test_a_dask_cluster_of_two_workers_keeps_cards(tmp_path):
    distributed = pytest.importorskip("distributed", reason="distributed, of the extra `cluster`, is not installed")
    cards = [shelf_cards.card(tmp_path / str(at), session=at, most=150) for at in range(1, 5)]
    settings = {"n_workers": 2, "threads_per_worker": 1, "dashboard_address": None}
    with distributed.LocalCluster(**settings) as cluster:
        words = ["--in", tmp_path / "shelf", "--car", "hill", "--cluster", cluster.scheduler_address]
        done = command("keep", *cards, *words, "--on", "2026-04-01")
        assert done.returncode == 0, done.stderr
        again = command("rejudge", tmp_path / "shelf", "--cluster", cluster.scheduler_address)
        assert again.returncode == 0 and len(again.stdout.splitlines()) == 4, again.stderr
    rows = catalogue.drives(Shelf(tmp_path / "shelf"))
    assert [row["session"] for row in rows] == [1, 2, 3, 4]
    asked = command("ask", tmp_path / "shelf", "lean", "--json")
    assert asked.returncode == 0 and json.loads(asked.stdout)["rows"], asked.stderr
    assert {len(Shelf(tmp_path / "shelf").files(table)) for table in TABLES} <= {0, 4}


def test_no_scheduler_is_told_in_three_lines(tmp_path):
    pytest.importorskip("distributed", reason="distributed, of the extra `cluster`, is not installed")
    card = shelf_cards.card(tmp_path / "card")
    done = command("keep", card, "--in", tmp_path / "shelf", "--car", "hill", "--cluster", "tcp://127.0.0.1:9")
    assert done.returncode == 2 and "no Dask scheduler answers" in done.stderr
