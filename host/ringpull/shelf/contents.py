"""What a shelf holds, car by car, and what of it was judged by an older analysis or calibration."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from ringpull.shelf import calibrations, catalogue
from ringpull.shelf.places import Shelf
from ringpull.shelf.version import ANALYSIS


@dataclass(frozen=True)
class Change:
    """What was noted before a drive."""

    day: str
    drive: str
    text: str


@dataclass(frozen=True)
class Car:
    """first, last: days of the earliest and latest dated drive, "" without. undated: drives whose date nobody knows;
    guessed: those whose date is only their file's. old_analysis, old_calibration: drives that `rejudge` would judge by
    something newer. calibration: the command that judges the latter, "" where there is none. rows: of the table of
    drives, by date."""

    name: str
    drives: int
    pulls: int
    hours: float
    first: str
    last: str
    undated: int
    guessed: int
    lean: int
    invented: int
    old_analysis: int
    old_calibration: int
    calibration: str
    changes: tuple[Change, ...]
    rows: tuple[catalogue.Row, ...]


def contents(root: Path) -> list[Car]:
    """Every car on a shelf."""
    shelf = Shelf(root)
    shelf.refuse_missing()
    return [about(shelf, name, rows) for name, rows in catalogue.by_car(catalogue.drives(shelf)).items()]


def day_of(row: catalogue.Row) -> str:
    """A drive's day, "" where it isn't known."""
    return "" if row["date"] is None else row["date"].date().isoformat()


def about(shelf: Shelf, name: str, rows: list[catalogue.Row]) -> Car:
    days = sorted(filter(None, map(day_of, rows)))
    last = calibrations.newest(shelf, name)
    other = calibrations.others(rows, last)
    return Car(
        name=name,
        drives=len(rows),
        pulls=sum(row["pulls"] for row in rows),
        hours=sum(row["engine_s"] for row in rows) / 3600.0,
        first=days[0] if days else "",
        last=days[-1] if days else "",
        undated=sum(row["date"] is None for row in rows),
        guessed=sum(row["date_from"] == "file's date" for row in rows),
        lean=sum(row["verdict"] == "attention" for row in rows),
        invented=sum(row["invented"] for row in rows),
        old_analysis=sum(row["analysis"] < ANALYSIS for row in rows),
        old_calibration=other,
        calibration=calibrations.command(shelf, name, last) if last is not None and other else "",
        changes=tuple(Change(day_of(row), row["drive"], row["change"]) for row in rows if row["change"]),
        rows=tuple(rows),
    )
