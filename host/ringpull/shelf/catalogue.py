"""Which drives a shelf holds: of each the row that counts."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Any

from ringpull.errors import RingpullError
from ringpull.shelf.places import TIDIED, Shelf, parts_of

Row = dict[str, Any]
TRIES = 20


class Damaged(RingpullError):
    """A file of the shelf can't be read."""


def drives(shelf: Shelf, car: str | None = None, drive: str | None = None) -> list[Row]:
    """The row that counts of every drive, or of `drive` and of invented ones whose names begin so, by car and date;
    undated ones last."""
    rows: dict[str, Row] = {}
    for row in every_row(shelf, car, drive):
        known = rows.get(row["drive"])
        if known is None or (row["serial"], row["part"]) > (known["serial"], known["part"]):
            rows[row["drive"]] = row
    return sorted(rows.values(), key=lambda one: (one["car_name"], one["day"] is None, one["day"] or 0.0, one["drive"]))


def every_row(shelf: Shelf, car: str | None = None, drive: str | None = None) -> list[Row]:
    """The rows of the table of drives, superseded ones among them. drive: as `drives` has it."""
    for _ in range(TRIES):
        wanted = [path for path in shelf.files("drives", car) if drive is None or is_of(parts_of(path)[0], drive)]
        try:
            return [row for path in wanted for row in read_rows(path, drive)]
        except FileNotFoundError:  # tidied or replaced meanwhile: what took its place is there already
            continue
    raise Damaged(
        f"{shelf.root} changes faster than it can be read",
        "many programs add to it or tidy it",
        "wait until they are done",
    )


def is_of(name: str, drive: str) -> bool:
    """Whether a file of this name may hold a drive's row."""
    return name in (TIDIED, drive) or name.startswith(drive + "-")


def read_rows(path: Path, drive: str | None = None) -> list[Row]:
    """The rows of a small file, of a tidied one those of a drive. FileNotFoundError, or Damaged."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    try:
        with path.open("rb") as stream:
            table = pq.ParquetFile(stream).read()
    except pa.ArrowException as fault:
        raise Damaged(
            f"{path} can't be read as Parquet ({str(fault).splitlines()[0]})",
            "the disk is failing, or another program wrote to the shelf",
            "move the file away, then keep its card again",
        ) from None
    if drive is not None:
        table = table.filter(pa.array([is_of(one, drive) for one in table["drive"].to_pylist()], pa.bool_()))
    return table.to_pylist()


def by_car(rows: Iterable[Row]) -> dict[str, list[Row]]:
    """Rows by their car."""
    out: dict[str, list[Row]] = {}
    for row in rows:
        out.setdefault(row["car_name"], []).append(row)
    return out
