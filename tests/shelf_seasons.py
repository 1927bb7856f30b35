"""Seasons with a planted truth: the small tables of a judged drive over and over, with what happened laid on.

Every drive gets an offset of its own (weather), every pull one, every cell of a pull one: standard deviations of
measured over target as the random drives of tests/truth have them.
"""

from __future__ import annotations

import secrets
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from ringpull.shelf import putting
from ringpull.shelf.judging import Judgement
from ringpull.shelf.places import TIDIED, Shelf
from ringpull.shelf.version import ANALYSIS

OF_DRIVE, OF_PULL, OF_CELL = 0.004, 0.005, 0.003
OF_LAG_S = 0.012
BEGIN = datetime(2026, 3, 1, 14, 0, tzinfo=UTC)
Cell = tuple[int, int | None]


@dataclass
class Season:
    """A car's season. drives: how many, spread over `days`. drift: cell (rpm, load) -> its change a year. changes:
    number of the drive that it stands before -> (words, cell -> its factor). lag: years -> seconds. fuel: number of the
    drive -> its name. level: factor on every cell."""

    car: str = "hill"
    drives: int = 30
    days: int = 240
    drift: dict[Cell, float] = field(default_factory=dict)
    changes: dict[int, tuple[str, dict[Cell, float]]] = field(default_factory=dict)
    lag: Callable[[float], float] = lambda years: 0.090
    fitted: datetime | None = None
    fuel: Callable[[int], str] = lambda number: "petrol"
    level: float = 1.0
    doubted: tuple[int, ...] = ()
    analysis: int = ANALYSIS
    single: bool = False


def write(root: Path, season: Season, judged: Judgement, seed: int) -> None:
    """Put a season's small tables on a shelf: tidied, or a file a drive with `single`."""
    random = np.random.default_rng(seed)
    tables = [drive(season, judged, number, random) for number in range(season.drives)]
    shelf = Shelf(root)
    for name in ("pulls", "events", "cells", "delays", "instruments", "drives"):
        if season.single:
            for one in tables:
                put(shelf, season.car, name, one[name], one["drives"][0]["drive"], one["drives"][0]["part"])
        else:
            part = tables[0]["drives"][0]["part"]
            rows = [row | {"part": part} for one in tables for row in one[name]]
            put(shelf, season.car, name, rows, TIDIED, part)


def put(shelf: Shelf, car: str, table: str, rows: list[dict], drive_name: str, part: str) -> None:
    if rows:
        putting.put_table(shelf.file(table, car, drive_name, part), table, putting.made(table, rows))


def drive(season: Season, judged: Judgement, number: int, random: np.random.Generator) -> dict[str, list[dict]]:
    """The rows of one drive in every small table."""
    day = (number + random.uniform(0.1, 0.9)) * season.days / season.drives
    when = BEGIN + timedelta(days=day)
    years = day / 365.25
    keys = {"car_name": season.car, "drive": f"{secrets.token_hex(4)}-1", "part": secrets.token_hex(4)}
    fitted = None if season.fitted is None else season.fitted.timestamp() / 86400.0
    row = {
        **judged.drive,
        **keys,
        "rows_part": keys["part"],
        "serial": number + 1,
        "ring_id": keys["drive"][:8],
        "session": 1,
        "date": when,
        "date_from": "clock",
        "day": when.timestamp() / 86400.0,
        "month": when.strftime("%Y-%m"),
        "fuel": season.fuel(number),
        "sensor_day": fitted,
        "change": season.changes[number][0] if number in season.changes else None,
        "invented": True,
        "analysis": season.analysis,
        "program": "0",
        "calibration_from": "ring",
        "setup": "0",
        "blocks": 0,
        "ring": "",
        "source": "",
        "doubted": number in season.doubted,
    }
    factors = [factor for at, (_, cells) in season.changes.items() if at <= number for factor in [cells]]
    of_drive = random.normal(0, OF_DRIVE)
    of_pull = {pull: random.normal(0, OF_PULL) for pull in {cell["pull"] for cell in judged.tables["cells"]}}
    cells = []
    for cell in judged.tables["cells"]:
        place = cell["rpm"], cell["load"]
        factor = season.level * (1.0 + season.drift.get(place, 0.0) * years)
        for one in factors:
            factor *= one.get(place, 1.0)
        noise = of_drive + of_pull[cell["pull"]] + random.normal(0, OF_CELL)
        moved = factor + noise
        cells.append({**cell, **keys, "ratio": cell["ratio"] * moved, "ratio_max": cell["ratio_max"] * moved})
    lag_s = season.lag(years) + random.normal(0, OF_LAG_S)
    delays = [{**one, **keys, "lag_s": lag_s, "found": True, "lag_found": True} for one in judged.tables["delays"]]
    others = {name: [{**one, **keys} for one in judged.tables[name]] for name in ("pulls", "events", "instruments")}
    return {**others, "drives": [row], "cells": cells, "delays": delays}


def often(judged: Judgement, least: int = 2) -> list[Cell]:
    """The cells that so many pulls of the drive visit, by speed and load."""
    places = [(cell["rpm"], cell["load"]) for cell in judged.tables["cells"]]
    return sorted({one for one in places if places.count(one) >= least}, key=str)
