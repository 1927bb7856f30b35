"""The table of what the car's own computer can be asked for, in its page: `python -m tests.make.car_values` writes it
anew."""

from __future__ import annotations

import re
from itertools import groupby
from pathlib import Path

from ringpull.device import car_values

PAGE = Path(__file__).resolve().parents[2] / "host" / "docs" / "cars_computer.md"
PLACE = re.compile(r"(<!-- values: generated[^\n]*-->\n)(.*?)(<!-- values end -->)", re.S)


def table() -> str:
    """A row a parameter; one with several parts names them all."""
    out = ["| `pid`, by name | or by number | unit | times a second, unless `hz` says |", "| --- | --- | --- | --- |"]
    for pid, group in groupby(car_values.every(), key=lambda one: one.pid):
        parts = list(group)
        units = [one.unit or "-" for one in parts]
        unit = units[0] if len(set(units)) == 1 else ", ".join(units)
        names = ", ".join(f"`{one.name}`" for one in parts)
        out.append(f"| {names} | `{pid}` | {unit} | {parts[0].hz:g} |")
    return "\n".join(out) + "\n"


def shown() -> str:
    """The table as it stands in the page."""
    found = PLACE.search(PAGE.read_text(encoding="utf-8"))
    assert found, "the page has no place for its table"
    return found[2]


def write() -> None:
    text = PAGE.read_text(encoding="utf-8")
    PAGE.write_text(PLACE.sub(lambda found: found[1] + table() + found[3], text), encoding="utf-8")


if __name__ == "__main__":
    write()
