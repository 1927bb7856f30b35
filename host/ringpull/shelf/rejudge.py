"""Drives judged again from the copies of their rings: by a newer analysis, or by a configuration that was mended."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from pathlib import Path

from ringpull.shelf import catalogue, keep, putting
from ringpull.shelf.places import Shelf

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


def put_calibration(root: Path, car: str, config: dict) -> Path:
    """Lay a configuration beside the rings of a car; returns where. config: checked, defaults filled."""
    text = json.dumps(config, indent=1, sort_keys=True)
    name = hashlib.sha256(text.encode()).hexdigest()[:12]
    path = Shelf(root).folder("calibrations", car) / f"{name}.json"
    putting.put_bytes(path, text.encode())
    return path


def given(root: Path, row: catalogue.Row) -> dict | None:
    """The configuration that a drive was judged by the last time, where it was one that lies beside the rings."""
    if row["calibration_from"] == "ring":
        return None
    path = Shelf(root).folder("calibrations", row["car_name"]) / row["calibration_from"]
    return json.loads(path.read_text())


def rejudge(root: Path, row: catalogue.Row, calibration: Path | None = None) -> keep.Outcome:
    """One drive judged again. calibration: what put_calibration gave, of this drive's car; else what it was judged by
    before."""
    facts = {name: row[name] for name in FACTS}
    config = given(root, row) if calibration is None else json.loads(calibration.read_text())
    facts["calibration_from"] = row["calibration_from"] if calibration is None else calibration.name
    made = keep.commit(Shelf(root), row["car_name"], row["drive"], facts, calibration=config)
    return keep.outcome(made, "judged")


def each(root: Path, rows: list[catalogue.Row], calibration: Path | None = None) -> Iterator[keep.Outcome]:
    """The drives judged again, one after the other."""
    for row in rows:
        yield rejudge(root, row, calibration)
