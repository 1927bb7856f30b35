"""Files put on the shelf whole, and taken from it: written aside, then renamed. No file is ever changed in place."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ringpull.errors import CannotWrite
from ringpull.shelf import tables
from ringpull.shelf.places import root_of
from ringpull.shelf.tables import Column

if TYPE_CHECKING:
    import pyarrow as pa

GROUP_ROWS = 131_072
ASIDE = ".new"  # ending of what is being written; its name begins with a dot, which no program takes for data


def put(path: Path, write: Callable[[Path], None]) -> None:
    """Write a file by `write` and put it in its place: all of it or nothing, and on the disk before its name is."""
    aside = path.with_name(f".{path.name}.{os.getpid()}{ASIDE}")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        write(aside)
        descriptor = os.open(aside, os.O_RDWR)  # Windows syncs nothing that is open for reading alone
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
        os.replace(aside, path)
    except OSError as fault:
        with contextlib.suppress(OSError):
            aside.unlink(missing_ok=True)
        raise refused(path, fault) from None


def refused(path: Path, fault: OSError) -> CannotWrite:
    """What is told where a shelf takes no file, or gives none away."""
    why = os.strerror(fault.errno) if fault.errno else "no reason was given"
    return CannotWrite(
        f"the shelf {root_of(path)} can't be written to ({why})",
        "its disk is full, or its folder is read-only",
        "make room or allow writing there, then give the command again; what the shelf held counts as before",
    )


def put_bytes(path: Path, content: bytes) -> None:
    """Put a file of this content."""

    def write(aside: Path) -> None:
        aside.write_bytes(content)

    put(path, write)


def remove(path: Path) -> None:
    """Take a file away, whoever did so before."""
    try:
        path.unlink(missing_ok=True)
    except OSError as fault:
        raise refused(path, fault) from None


def schema(table: str) -> pa.Schema:
    """A table's columns, units and versions in their metadata."""
    import pyarrow as pa

    kinds = {
        tables.TEXT: pa.string(),
        tables.WHOLE: pa.int32(),
        tables.LONG: pa.int64(),
        tables.SINGLE: pa.float32(),
        tables.DOUBLE: pa.float64(),
        tables.FLAG: pa.bool_(),
        tables.MOMENT: pa.timestamp("us", tz="UTC"),
    }

    def field(column: Column) -> pa.Field:
        about = {"unit": column.unit, "meaning": column.meaning}
        return pa.field(column.name, kinds[column.kind], metadata={k: v for k, v in about.items() if v})

    return pa.schema(
        [field(column) for column in tables.TABLES[table]],
        metadata={"ringpull.table": table, "ringpull.shelf": str(tables.FORMAT)},
    )


def put_table(path: Path, name: str, content: pa.Table) -> None:
    """Put one Parquet file of a table: zstd, floats split by byte, row groups of GROUP_ROWS."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    # pyarrow takes lists of columns, though its stubs know only flags
    how: dict[str, Any] = {
        "use_dictionary": [one.name for one in content.schema if not pa.types.is_floating(one.type)],
        "use_byte_stream_split": [one.name for one in content.schema if pa.types.is_floating(one.type)],
    }

    def write(aside: Path) -> None:
        pq.write_table(content, aside, compression="zstd", row_group_size=GROUP_ROWS, coerce_timestamps="us", **how)

    put(path, write)


def made(name: str, rows: list[dict]) -> pa.Table:
    """Rows as a table of the shelf; keys that a row lacks are null."""
    import pyarrow as pa

    kinds = schema(name)
    columns = [pa.array([row.get(one.name) for row in rows], one.type) for one in kinds]
    return pa.Table.from_arrays(columns, schema=kinds)
