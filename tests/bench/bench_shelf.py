"""The shelf: how fast drives are added against bare judging, how large they are, how long questions take, and whether
planted truths are found.

RINGPULL_SHELF_DRIVES sets how many drives are judged (200 unless set). Larger shelves are these drives' small tables
over and over with what a season does laid on (tests/shelf_seasons.py). Spark's rows come with its library alone.
"""

from __future__ import annotations

import os
import tempfile
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from datetime import UTC, datetime
from importlib.util import find_spec
from multiprocessing import get_context
from pathlib import Path

import numpy as np
import shelf_cards
import shelf_seasons
from shelf_seasons import Season

from ringpull.shelf import judging, keep, putting, ring_copy, tidy, work
from ringpull.shelf.keep import Told

DRIVES = int(os.environ.get("RINGPULL_SHELF_DRIVES", "200"))
SEASONS = int(os.environ.get("RINGPULL_SHELF_SEASONS", "100"))
RESULTS = Path(__file__).with_name("SHELF_RESULTS.md") if DRIVES >= 200 and SEASONS >= 100 else None
TOGETHER = {1: 40, 2: 100}  # drives judged, then kept, on so many cores: more than delays are remembered of
PER_CAR = 100  # drives of each car in the larger shelves
LARGE, LARGEST = 2_000, 20_000
Rows = Iterator[tuple[str, float, str, str]]


def rows() -> Rows:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        judged = judging.judge(shelf_cards.card(folder / "one") / "drive.rpl")
        yield from adding(folder)
        yield from truths(folder / "truths", judged)
        yield from asking(folder, judged)
        yield from clusters()


def seconds(work: Callable) -> float:
    began = time.perf_counter()
    work()
    return time.perf_counter() - began


def card_of(folder: Path, number: int) -> Path:
    """A card of a session of its own; the demo's 134 s with three pulls. Each engine is a little larger, or the delay
    found for the first drive would be remembered for all others."""
    other = b'"displacement_cc":%d' % (1598 + number)
    return shelf_cards.card(folder / f"card{number}", session=number + 1, config=(b'"displacement_cc":1598', other))


def adding(folder: Path) -> Rows:
    cards = [card_of(folder, number) for number in range(DRIVES)]
    rings = [card / "drive.rpl" for card in cards]
    told = Told("hill", on="2026-04-01")
    judging.judge(rings[0])  # the libraries are loaded
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        list(pool.map(judging.judge, rings[:2]))
        ways = {1: lambda some: list(map(judging.judge, some)), 2: lambda some: list(pool.map(judging.judge, some))}
        for cores, bare in ways.items():
            shelf = folder / f"shelf{cores}"
            judged_s = kept_s = 0.0
            for first in range(0, DRIVES, TOGETHER[cores]):  # in turns: a machine does not stay as fast as it was
                now = slice(first, first + TOGETHER[cores])
                judged_s += seconds(lambda bare=bare, now=now: bare(rings[now]))
                kept_s += seconds(
                    lambda cores=cores, shelf=shelf, now=now: list(work.keep_all(shelf, cards[now], told, jobs=cores))
                )
            for what, took_s in (("adds", kept_s), ("bare judging", judged_s)):
                yield f"{what}, {cores} core{'s'[: cores - 1]}", 60 * DRIVES / took_s, "drives/min", f"{DRIVES} drives"
            yield "  of bare judging", 100 * judged_s / kept_s, "%", "limit 85"
    size = sum(path.stat().st_size for path in shelf.rglob("*") if path.is_file())
    copies = sum(path.stat().st_size for path in (shelf / "v1" / "rings").rglob("*.rpl"))
    yield (
        "on disk",
        size / DRIVES / 1e6,
        "MB/drive",
        f"{copies / DRIVES / 1e6:.2f} of it the ring's copy; 134 s, 27 s of pulls",
    )
    again = [seconds(lambda: keep.keep(shelf, cards[0], told)) for _ in range(5)]
    yield "a card kept again", 1e3 * min(again), "ms", f"limit 50; {DRIVES} drives on the shelf"
    big = folder / "big.rpl"
    big.write_bytes((rings[0].read_bytes() * (1 + (64 << 20) // rings[0].stat().st_size))[: 64 << 20])
    yield (
        "  its content told, card of 64 MB",
        1e3 * min(seconds(lambda: ring_copy.fingerprint(big)) for _ in range(3)),
        "ms",
        "",
    )
    from ringpull.shelf.questions.ask import QUESTIONS
    from ringpull.shelf.questions.live import Chosen, Engine

    engine = Engine()
    for name, each in (("a file a drive", None), ("tidied", lambda: tidy.tidy(shelf))):
        if each is not None:
            yield "tidying", seconds(each), "s", f"{DRIVES} drives"
        for question in QUESTIONS:
            yield from timed(f"{question}, {DRIVES} drives, {name}", shelf, question, Chosen(), engine, "")


def timed(name: str, shelf: Path, question: str, chosen, engine, limit: str) -> Rows:
    """The question once and again."""
    from ringpull.shelf.questions.ask import ask

    first = seconds(lambda: ask(shelf, question, chosen, engine))
    began = time.process_time()
    again = min(seconds(lambda: ask(shelf, question, chosen, engine)) for _ in range(2))
    cpu_s = (time.process_time() - began) / 2
    yield name, again, "s", f"{first:.2f} the first time; {cpu_s:.2f} of this process's CPU{limit}"


def asking(folder: Path, judged: judging.Judgement) -> Rows:
    from ringpull.shelf.questions.ask import QUESTIONS
    from ringpull.shelf.questions.live import Chosen, Engine

    for drives, limit, single in ((LARGE, "", True), (LARGE, "; limit 1", False), (LARGEST, "; limit 5", False)):
        shelf = folder / f"of{drives}{single}"
        if drives == LARGEST:
            multiplied(folder / f"of{LARGE}{single}", shelf, LARGEST // LARGE)
        else:
            for car in range(drives // PER_CAR):
                shelf_seasons.write(shelf, Season(car=f"car {car}", drives=PER_CAR, single=single), judged, car)
        kind = "a file a drive" if single else "tidied"
        engine = Engine()
        for question in QUESTIONS:
            yield from timed(f"{question}, {drives} drives, {kind}", shelf, question, Chosen(), engine, limit)
        if drives == LARGE and not single and find_spec("pyspark"):
            spark = Engine("pyspark", "local[2]")
            for question in QUESTIONS:
                yield from timed(f"{question}, {drives} drives, Spark", shelf, question, Chosen(), spark, "")


def multiplied(shelf: Path, out: Path, times: int) -> None:
    """A shelf of so many times the cars of a tidied one: each copy under other names, its ratios scattered anew."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    random = np.random.default_rng(1)
    for path in sorted((shelf / "v1").rglob("*.parquet")):
        table, rows = path.parts[-3], pq.ParquetFile(path).read()
        for copy in range(times):
            again = rows
            for name in ("car_name", "drive"):
                texts = pa.array([f"{one}-{copy}" for one in rows[name].to_pylist()])
                again = again.set_column(again.schema.get_field_index(name), again.schema.field(name), texts)
            if table == "cells":
                moved = rows["ratio"].to_numpy() * (1.0 + random.normal(0.0, shelf_seasons.OF_PULL, len(rows)))
                at = again.schema.get_field_index("ratio")
                again = again.set_column(at, again.schema.field("ratio"), pa.array(moved, pa.float32()))
            putting.put_table(out / "v1" / table / f"{path.parts[-2]}-{copy}" / path.name, table, again)


def truths(folder: Path, judged: judging.Judgement) -> Rows:
    """Seasons of 30 drives in 240 days: what was planted, found; and what was called where nothing was."""
    cells = shelf_seasons.often(judged)
    end = 240 / 365.25
    log = {8: ("plugs", {}), 16: ("new pump", dict.fromkeys(cells[4:8], 0.97)), 24: ("oil", {})}
    kinds = {
        "drift": Season(drift=dict.fromkeys(cells[:3], 0.06)),
        "changes": Season(changes=log),
        "delay": Season(lag=lambda years: 0.08 + 0.06 * years / end, fitted=datetime(2026, 2, 1, tzinfo=UTC)),
        "nothing": Season(changes={number: (words, {}) for number, (words, _) in log.items()}),
    }
    found: dict[str, list[bool]] = {}
    for kind, season in kinds.items():
        for seed in range(SEASONS):
            shelf_seasons.write(folder / kind, replace(season, car=f"car {seed}"), judged, 1000 + seed)
        for called in each_season(folder / kind):
            for name, right in outcome(kind, called, cells).items():
                found.setdefault(name, []).append(right)
    for name, right in found.items():
        yield name, 100.0 * float(np.mean(right)), "% of seasons", f"{len(right)} seasons"


def each_season(shelf: Path) -> Iterator[dict[str, list[dict]]]:
    """Question -> what it calls, of every car as if it were asked by itself: the engine sums them all at once."""
    from ringpull.shelf.places import Shelf
    from ringpull.shelf.questions import changes, delay, drift
    from ringpull.shelf.questions.live import Chosen, Engine, Live

    live = Live(Engine(), Shelf(shelf), Chosen())
    sums = {
        "cells": live.run(drift.sums(live)),
        "log": live.run(changes.entries(live)),
        **{what: live.run(delay.sums(live, column)) for what, column in delay.WHAT.items()},
    }
    for car in sorted({row["car_name"] for row in sums["cells"]}):
        own = {name: [row for row in rows if row["car_name"] == car] for name, rows in sums.items()}
        yield {
            "drift": drift.of_sums(own["cells"]).called,
            "changes": changes.of_sums(own["cells"], own["log"]).called,
            "delay": delay.of_sums({what: own[what] for what in delay.WHAT}).called,
        }


def outcome(kind: str, called: dict[str, list[dict]], cells: list) -> dict[str, bool]:
    """What was to be found in a season, and whether it was."""

    def places(some: list[dict]) -> set:
        return {(row["rpm"], row["load"]) for row in some}

    if kind == "drift":
        drifting = places(called["drift"])
        return {
            "6 % a year in three cells: all three found": set(cells[:3]) <= drifting,
            "  and no other cell": drifting <= set(cells[:3]),
        }
    if kind == "changes":
        shown = called["changes"]
        mine = [row for row in shown if row["entry"] == "new pump"]
        return {
            "3 % in four cells: all four at the right entry": places(mine) == set(cells[4:8]),
            "  and nothing at another entry": len(mine) == len(shown),
        }
    if kind == "delay":
        return {"lag from 80 to 140 ms: found": [row["what"] for row in called["delay"]] == ["lag"]}
    return {f"nothing happened: {question} calls nothing": not some for question, some in called.items()}


def clusters() -> Rows:
    """What handing work to a cluster costs: why drives are judged on Dask and questions alone on Spark."""
    tasks, pause_s = 100, 0.05
    remark = f"{tasks} tasks of {1e3 * pause_s:.0f} ms; {tasks * pause_s / 2:.1f} s at best"
    if find_spec("distributed"):
        from distributed import Client, LocalCluster  # pyright: ignore[reportMissingImports]

        began = time.perf_counter()
        with LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster, Client(cluster) as on:
            on.gather(on.map(abs, range(2)))
            yield "Dask, two workers, to start", time.perf_counter() - began, "s", "a running cluster is there already"
            pauses = [pause_s] * tasks
            took_s = seconds(lambda: on.gather(on.map(time.sleep, pauses, pure=False)))
            yield "Dask, two workers, at work", took_s, "s", remark
    if find_spec("pyspark"):
        from pyspark.sql import SparkSession  # pyright: ignore[reportMissingImports]

        began = time.perf_counter()
        spark = SparkSession.builder.master("local[2]").config("spark.ui.enabled", "false").getOrCreate()
        on = spark.sparkContext
        on.parallelize(range(2), 2).map(abs).collect()
        yield (
            "Spark, two cores, to start",
            time.perf_counter() - began,
            "s",
            "with its Java; none where one runs already",
        )
        took_s = seconds(lambda: on.parallelize([pause_s] * tasks, tasks).map(time.sleep).collect())
        yield "Spark, two cores, at work", took_s, "s", remark
        spark.stop()
