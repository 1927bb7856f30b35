"""The small tables of a car in one file each, and what was left lying taken away.

Questions read few large files several times faster than many small ones."""

from __future__ import annotations

import contextlib
import secrets
import time
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from ringpull.shelf import catalogue, putting
from ringpull.shelf.places import TIDIED, Shelf, parts_of
from ringpull.shelf.tables import BESIDE, SMALL

if TYPE_CHECKING:
    import pyarrow as pa

OLD_S = 3600.0  # what nobody names may still be somebody's who is adding; after so long it is not


@dataclass(frozen=True)
class Tidied:
    """drives: put together. files: before and after. removed: files that nobody read any more."""

    car: str
    drives: int
    files: tuple[int, int]
    removed: int


def tidy(root: Path) -> list[Tidied]:
    """Put the small tables of every car into one file each."""
    shelf = Shelf(root)
    shelf.refuse_missing()
    rows = catalogue.by_car(catalogue.drives(shelf))
    found = [tidy_car(shelf, car, rows.get(car, [])) for car in sorted({*rows, *shelf.cars("rings")})]
    return [one for one in found if one.drives or one.removed]


def tidy_car(shelf: Shelf, car: str, rows: list[catalogue.Row]) -> Tidied:
    """One car tidied. The new files are there before the old ones go, and count more than these."""
    before = sum(len(shelf.files(table, car)) for table in ("drives", *SMALL))
    if len(shelf.files("drives", car)) > 1:
        together(shelf, car)
    removed = swept(shelf, car)
    after = sum(len(shelf.files(table, car)) for table in ("drives", *SMALL))
    return Tidied(car, len(rows), (before, after), removed)


def together(shelf: Shelf, car: str, without: str | None = None) -> bool:
    """The rows of all drives in one file a table, that of the drives last; then the files that they were in go.
    without: a drive whose rows are left out; files of its own stay. Whether it was done."""
    import pyarrow as pa

    part = secrets.token_hex(4)
    # Before the rows: what is added in between must stay
    old_files = [path for path in shelf.files("drives", car) if parts_of(path)[0] != without]
    rows = [row for row in catalogue.drives(shelf, car) if row["drive"] != without]
    live = {(row["drive"], row["part"]) for row in rows}
    for table in SMALL:
        found = live_rows(shelf.files(table, car), table, live)
        if found.num_rows:
            found = found.set_column(2, found.schema.field("part"), pa.array([part] * found.num_rows))
            putting.put_table(shelf.file(table, car, TIDIED, part), table, found)
    # greater than of the rows they are made from, less than of any that somebody else makes meanwhile
    moved = [row | {"part": part, "serial": row["serial"] + 1} for row in rows]
    if not whole(shelf, car, live, without=without):
        return False  # somebody replaced a drive meanwhile: its files may have gone while they were read
    if moved:
        putting.put_table(shelf.file("drives", car, TIDIED, part), "drives", putting.made("drives", moved))
    kept = {row["rows_part"] for row in rows}
    for path in old_files:
        putting.remove(path)
    for path in old_files:
        drive, old = parts_of(path)
        for table in BESIDE:
            if table != "rows" or (old not in kept and drive != TIDIED):
                putting.remove(shelf.file(table, car, drive, old))
    return True


def whole(
    shelf: Shelf, car: str, live: set[tuple[str, str]], drive: str | None = None, without: str | None = None
) -> bool:
    """Whether the rows of all drives, of one, or of all but one are still those of these judgements."""
    rows = [row for row in catalogue.drives(shelf, car, drive) if row["drive"] != without]
    return live == {(row["drive"], row["part"]) for row in rows if drive in (None, row["drive"])}


def live_rows(files: list[Path], table: str, live: set[tuple[str, str]]) -> pa.Table:
    """The rows of a table's files that belong to these judgements."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    kinds = putting.schema(table)
    found = [kinds.empty_table()]
    for path in files:
        with contextlib.suppress(FileNotFoundError), path.open("rb") as stream:
            one = pq.ParquetFile(stream).read()
            names = zip(one["drive"].to_pylist(), one["part"].to_pylist(), strict=True)
            found.append(one.filter(pa.array([name in live for name in names], pa.bool_())).cast(kinds))
    return pa.concat_tables(found).combine_chunks()


def swept(shelf: Shelf, car: str) -> int:
    """Take away what nobody names and nobody can be writing any more; returns how many files."""
    rows = catalogue.drives(shelf, car)
    parts = {row["part"] for row in rows} | {row["rows_part"] for row in rows}
    rings = {row["ring"] for row in rows}
    count = 0
    for table in ("drives", *BESIDE, "rings"):
        for folder in shelf.folders(table, car):
            for path in folder.iterdir():
                named = path.name in rings if table == "rings" else parts_of(path)[1] in parts
                if (path.name.endswith(putting.ASIDE) or not named) and is_old(path):
                    putting.remove(path)
                    count += 1
    return count


def is_old(path: Path) -> bool:
    """Whether a file was left lying longer ago than anybody takes to add a drive."""
    try:
        return time.time() - path.stat().st_mtime > OLD_S
    except FileNotFoundError:
        return False
