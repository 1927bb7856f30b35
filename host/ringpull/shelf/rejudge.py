"""Drives judged again from the copies of their rings: by a newer analysis, or by a configuration that was mended."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from ringpull.drive import read
from ringpull.errors import BadConfig
from ringpull.files.configuration import Configuration
from ringpull.shelf import calibrations, catalogue, judging, keep
from ringpull.shelf.places import Shelf
from ringpull.shelf.version import ANALYSIS

JUDGED, SAME, STANDS = "judged", "judged again by the same analysis and configuration", "judged so before"

# What a drive's row holds that its ring does not tell
FACTS = (
    *("ring_id", "session", "date", "date_from", "day", "month", "fuel", "sensor_day", "change", "invented"),
    *("setup", "ring", "blocks", "source"),
)


def wanted(root: Path, car: str | None = None) -> list[catalogue.Row]:
    """The rows of the drives to be judged again."""
    shelf = Shelf(root)
    shelf.refuse_missing()
    return catalogue.drives(shelf, car)


def refuse_other_loggers(root: Path, rows: list[catalogue.Row], config: Configuration) -> None:
    """BadConfig where a configuration describes the logger of none of these drives: it is not laid beside their
    rings."""
    shelf = Shelf(root)
    fault = None
    for row in {row["setup"]: row for row in rows}.values():
        session = read(shelf.folder("rings", row["car_name"]) / row["ring"]).sessions[0]
        try:
            judging.refuse_other_channels(session, config)
            return
        except BadConfig as error:
            fault = error
    if fault is not None:
        raise fault


def rejudge(root: Path, row: catalogue.Row, calibration: Path | None = None) -> keep.Outcome:
    """One drive judged again. calibration: what calibrations.put gave, of this drive's car, which judges no drive
    twice; else what it was judged by before."""
    shelf = Shelf(root)
    by = row["calibration_from"] if calibration is None else calibration.name
    as_before = by == row["calibration_from"] and row["analysis"] == ANALYSIS
    if as_before and calibration is not None:
        return keep.outcome(row, STANDS)
    config = calibrations.given(shelf, row) if calibration is None else calibrations.read(calibration)
    facts = {name: row[name] for name in FACTS} | {"calibration_from": by}
    made = keep.commit(shelf, row["car_name"], row["drive"], facts, calibration=config)
    return keep.outcome(made, SAME if as_before else JUDGED)


def each(root: Path, rows: list[catalogue.Row], calibration: Path | None = None) -> Iterator[keep.Outcome]:
    """The drives judged again, one after the other."""
    for row in rows:
        yield rejudge(root, row, calibration)
