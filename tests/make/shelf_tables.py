"""SHELF.md's tables from the code's own: `python -m tests.make.shelf_tables` writes them anew."""

from __future__ import annotations

import re
from pathlib import Path

from ringpull.shelf.tables import TABLES

PAGE = Path(__file__).resolve().parents[2] / "host" / "ringpull" / "shelf" / "SHELF.md"
PLACE = re.compile(r"(<!-- tables: generated[^\n]*-->\n)(.*?)(<!-- tables end -->)", re.S)
ABOUT = {
    "drives": "One row a drive.",
    "pulls": "One row a pull; spoiled ones are here alone.",
    "events": "One row a lean event of a judged pull.",
    "cells": "One row for each pull, sensor and cell of engine speed and load that it visited under load for 0.08 s or "
    "more, once the engine had settled after the throttle opened. The cells' middles are the same for every drive.",
    "delays": "One row for each lambda sensor of a drive.",
    "instruments": "One row for each instrument that was examined.",
    "rows": "The pulls' samples on the drive's own time grid, null where nothing is known.",
}


def tables() -> str:
    """A heading, a sentence and a list of columns for each table."""
    out = []
    for name, columns in TABLES.items():
        out += [f"### {name}", "", ABOUT[name], "", "| column | type | unit | meaning |", "| --- | --- | --- | --- |"]
        out += [f"| `{one.name}` | {one.kind} | {one.unit} | {one.meaning} |" for one in columns]
        out.append("")
    return "\n".join(out)


def shown() -> str:
    """The tables as they stand in the page."""
    found = PLACE.search(PAGE.read_text(encoding="utf-8"))
    assert found, "SHELF.md has no place for its tables"
    return found[2]


def main() -> None:
    text = PAGE.read_text(encoding="utf-8")
    PAGE.write_text(PLACE.sub(lambda found: found[1] + tables() + found[3], text), encoding="utf-8")


if __name__ == "__main__":
    main()
