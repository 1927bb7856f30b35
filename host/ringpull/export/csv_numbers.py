"""The decoded table as CSV: a header line, decimal points, empty cells where there is no value.

Which columns there are is decided in ring/values/decoded_columns.py.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pyarrow as pa
import pyarrow.csv

from ringpull.export import arrow

if TYPE_CHECKING:
    from ringpull.drive import Drive
    from ringpull.session import Session

DIGITS = 7  # significant digits of a value: more than any converter resolves, but no noise of binary fractions
TIME_DIGITS = 6  # decimals of a time: whole microseconds


def write(drive: Drive, sessions: list[Session], path: Path, progress: Callable[[float], None]) -> int:
    """Write the sessions and return the number of rows. Times are exact to 1 us, values to 7 significant digits."""
    rows = 0
    schema = arrow.schema(sessions)
    options = pyarrow.csv.WriteOptions(include_header=False, quoting_style="none")
    with pa.OSFile(str(path), "wb") as file, pyarrow.csv.CSVWriter(file, schema, write_options=options) as writer:
        file.write(head(schema))
        for table in arrow.pieces(sessions, progress):
            writer.write_table(_rounded(table))
            rows += table.num_rows
    return rows


def head(schema: pa.Schema) -> bytes:
    """The header line (pyarrow would put the names in quotes)."""
    return (",".join(schema.names) + "\n").encode()


def body(table: pa.Table) -> bytes:
    """The rows of a piece as CSV, rounded as in a whole file."""
    out = pa.BufferOutputStream()
    options = pyarrow.csv.WriteOptions(include_header=False, quoting_style="none")
    pyarrow.csv.write_csv(_rounded(table), out, write_options=options)
    return out.getvalue().to_pybytes()


def _rounded(table: pa.Table) -> pa.Table:
    out = []
    for field in table.schema:
        column = table[field.name].combine_chunks()
        if field.name == "time_s":
            column = pa.array(np.round(column.to_numpy(), TIME_DIGITS))
        elif pa.types.is_floating(field.type):
            values = column.to_numpy(zero_copy_only=False)
            column = pa.array(_significant(values), mask=np.isnan(values))
        out.append(column)
    return pa.Table.from_arrays(out, schema=table.schema)


def _significant(values: np.ndarray) -> np.ndarray:
    """The values rounded to DIGITS significant digits, as the nearest doubles, so that they print short."""
    with np.errstate(divide="ignore", invalid="ignore"):
        places = DIGITS - 1 - np.floor(np.log10(np.abs(values)))
    places = np.where(np.isfinite(places), np.clip(places, -300, 22), 0.0)
    scale = 10.0 ** np.abs(places)
    up = places >= 0
    whole = np.rint(np.where(up, values * scale, values / scale))
    return np.where(up, whole / scale, whole * scale)
