"""CSV tables as table editors export them: first row engine speeds, first column loads."""

from __future__ import annotations

import csv
from itertools import takewhile
from pathlib import Path

import numpy as np

from ringpull.errors import BadUsage, SourceMissing

UNDER_LOAD = "under load"  # begins a second table in the same file: what follows is not read
LEAST_LAMBDA, MOST_LAMBDA = 0.4, 1.6


def read_table(path: Path) -> tuple[np.ndarray, np.ndarray, list[list[str]]]:
    """(speeds, loads, cells as text [load][speed]) of a table. Raises SourceMissing, or BadUsage if it has no axes."""
    try:
        lines = Path(path).read_text(encoding="utf-8-sig").splitlines()
    except (OSError, UnicodeDecodeError):
        raise SourceMissing(
            f"{path} can't be read", "the path is wrong, or it is not a text file", "give a CSV table"
        ) from None
    rows = [row for row in takewhile(lambda row: row[:1] != [UNDER_LOAD], csv.reader(lines)) if any(row)]
    try:
        speeds = np.array([float(v) for v in rows[0][1:] if v.strip()])
        loads = np.array([float(row[0]) for row in rows[1:]])
        rising = (np.diff(speeds) > 0).all() and (np.diff(loads) > 0).all()
        if len(speeds) < 2 or len(loads) < 2 or not rising:
            raise ValueError
    except (ValueError, IndexError):
        raise BadUsage(
            f"{path} is not a table with axes",
            "the first row must hold engine speeds and the first column loads, both rising, at least two of each",
            "export the table with its axes, engine speeds across and loads down",
        ) from None
    return speeds, loads, [row[1 : len(speeds) + 1] for row in rows[1:]]


def read_target(path: Path, load: str, unit: str = "kpa") -> dict:
    """A target in the configuration's form, read from a table of lambda.

    load: the name of the load channel. unit: "kpa" or "pct".
    """
    speeds, loads, cells = read_table(path)
    try:
        values = np.array([[float(v) for v in row] for row in cells])
        if values.shape != (len(loads), len(speeds)) or values.min() < LEAST_LAMBDA or values.max() > MOST_LAMBDA:
            raise ValueError
    except ValueError:
        raise BadUsage(
            f"{path} is not a table of lambda",
            f"a cell is empty, not a number, or outside {LEAST_LAMBDA}-{MOST_LAMBDA} (an air-fuel ratio?)",
            "write lambda into every cell",
        ) from None
    return {"load": load, f"load_{unit}": loads.tolist(), "rpm": speeds.tolist(), "lambda": values.T.tolist()}
