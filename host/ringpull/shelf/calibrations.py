"""Configurations that were given for a car later, which lie beside its rings, and the drives that others judged."""

from __future__ import annotations

import hashlib
import json
import shlex
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from ringpull.files import configuration
from ringpull.files.configuration import Configuration
from ringpull.shelf import putting
from ringpull.shelf.places import Shelf

RING = "ring"  # in place of a file's name: the ring's own configuration


def put(root: Path, car: str, config: Configuration) -> Path:
    """Lay a configuration beside the rings of a car; returns where."""
    path = place(root, car, config)
    putting.put_bytes(path, text_of(config).encode())
    return path


def place(root: Path, car: str, config: Configuration) -> Path:
    """Where a configuration lies, or would."""
    name = hashlib.sha256(text_of(config).encode()).hexdigest()[:12]
    return Shelf(root).folder("calibrations", car) / f"{name}.json"


def text_of(config: Configuration) -> str:
    return json.dumps(config.written, indent=1, sort_keys=True)


def given(shelf: Shelf, row: dict[str, Any]) -> Configuration | None:
    """The configuration that a drive was judged by the last time, where it was one that lies beside the rings."""
    if row["calibration_from"] == RING:
        return None
    return read(shelf.folder("calibrations", row["car_name"]) / row["calibration_from"])


def read(path: Path) -> Configuration:
    """A configuration that lies beside the rings."""
    return configuration.of(json.loads(path.read_text()))


def newest(shelf: Shelf, car: str) -> Path | None:
    """The configuration that was given last for a car, None where none was."""
    files = list(shelf.folder("calibrations", car).glob("*.json"))
    return max(files, key=lambda path: path.stat().st_mtime_ns) if files else None


def others(rows: Iterable[dict[str, Any]], last: Path | None) -> int:
    """How many of a car's drives another configuration judged than the one given last. rows: of the table of drives, or
    groups of them that count `n` each. A ring whose own configuration is that one counts with it."""
    if last is None:
        return 0
    rows = list(rows)
    same = {row["calibration"] for row in rows if row["calibration_from"] == last.name}
    return sum(
        row.get("n", 1) for row in rows if row["calibration_from"] != last.name and row["calibration"] not in same
    )


def mixed(car: str, count: int, command: str) -> str:
    """That figures of several configurations stand beside each other, in words."""
    were = "drive was" if count == 1 else "drives were"
    return f"{car}: {count} {were} judged by another calibration than the one given last: {command}"


def command(shelf: Shelf, car: str, last: Path) -> str:
    """What judges all drives of a car by the configuration given last."""
    return shlex.join(["ringpull", "rejudge", str(shelf.root), "--car", car, "--config", str(last)])
