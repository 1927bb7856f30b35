"""CSV tables as table editors export them: first row engine speeds, first column loads.

Columns are parted by commas, semicolons or tabs; with the last two a comma may be the decimal mark. Axes may fall: many
editors put the highest load on top.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from itertools import takewhile
from pathlib import Path

import numpy as np

from ringpull.errors import BadUsage, SourceMissing

UNDER_LOAD = "under load"  # begins a second table in the same file: what follows is not read
LEAST_LAMBDA, MOST_LAMBDA = 0.4, 1.6
# Full load stands above the first even at altitude, and below the second in any engine; absolute pressure in bar or
# psi, or gauge pressure with the vacuum below zero, falls outside. Common practice, no source
LEAST_FULL_KPA, MOST_FULL_KPA = 60.0, 800.0
LEAST_FULL_PCT, MOST_FULL_PCT = 50.0, 110.0
LEAST_TOP_RPM = 1500.0  # engine speeds reach higher, and loads in kPa or percent do not


def read_table(path: Path) -> tuple[np.ndarray, np.ndarray, list[list[str]]]:
    """(speeds, loads, cells as text [load][speed]) of a table, both axes rising.

    Raises SourceMissing, or BadUsage if it has no axes, or they are exchanged.
    """
    try:
        lines = Path(path).read_text(encoding="utf-8-sig").splitlines()
    except (OSError, UnicodeDecodeError):
        raise SourceMissing(
            f"{path} can't be read", "the path is wrong, or it is not a text file", "give a CSV table"
        ) from None
    rows = [row for row in takewhile(lambda row: row[:1] != [UNDER_LOAD], _cells(lines)) if any(row)]
    try:
        speeds = np.array([float(v) for v in rows[0][1:] if v.strip()])
        loads = np.array([float(row[0]) for row in rows[1:]])
        if len(speeds) < 2 or len(loads) < 2 or not (_in_order(speeds) and _in_order(loads)):
            raise ValueError
    except (ValueError, IndexError):
        raise BadUsage(
            f"{path} is not a table with axes",
            "the first row must hold engine speeds and the first column loads, both in order, at least two of each, in "
            "columns parted by commas, semicolons or tabs",
            "export the table with its axes, engine speeds across and loads down",
        ) from None
    if speeds.max() < LEAST_TOP_RPM <= loads.max():
        raise BadUsage(
            f"the first row of {path} runs to {speeds.max():g} and its first column to {loads.max():g}",
            "the axes are exchanged: engine speeds stand in the first column, loads in the first row",
            "turn the table over: engine speeds across and loads down",
        )
    across, down = np.argsort(speeds), np.argsort(loads)
    cells = [row[1 : len(speeds) + 1] for row in rows[1:]]
    turned = [[cells[i][j] for j in across if j < len(cells[i])] for i in down]
    return speeds[across], loads[down], turned


def _in_order(axis: np.ndarray) -> bool:
    steps = np.diff(axis)
    return bool((steps > 0).all() or (steps < 0).all())


def _cells(lines: list[str]) -> Iterator[list[str]]:
    """The rows of cells, whatever parts the columns."""
    parted = next((mark for mark in ("\t", ";") if lines and mark in lines[0]), ",")
    for row in csv.reader(lines, delimiter=parted):
        yield row if parted == "," else [cell.replace(",", ".") for cell in row]


def check_loads(path: Path, loads: np.ndarray, unit: str) -> None:
    """Raise BadUsage if a table's loads can't be kPa absolute, or throttle opening in percent (unit "kpa" or "pct").

    Taken for kPa, loads in bar all lie below idle: the whole drive would be judged by the table's last row.
    """
    least, most = (LEAST_FULL_KPA, MOST_FULL_KPA) if unit == "kpa" else (LEAST_FULL_PCT, MOST_FULL_PCT)
    if loads[0] >= 0 and least <= loads[-1] <= most:
        return
    named = "kPa absolute" if unit == "kpa" else "percent of throttle opening"
    raise BadUsage(
        f"the loads of {path} run from {loads[0]:g} to {loads[-1]:g}: not {named}, by which this drive is judged",
        "they are in bar or psi, as gauge pressure, or of another kind of load"
        if unit == "kpa"
        else "they are a pressure, or a share of 1",
        "write kPa absolute: bar times 100, psi times 6.895; add the ambient pressure to gauge pressure"
        if unit == "kpa"
        else "write the opening in percent, 0 to 100",
    )


def read_target(path: Path, load: str, unit: str = "kpa") -> dict:
    """A target in the configuration's form, read from a table of lambda.

    load: the name of the load channel. unit: "kpa" or "pct", what the table's loads must be.
    """
    speeds, loads, cells = read_table(path)
    check_loads(path, loads, unit)
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
