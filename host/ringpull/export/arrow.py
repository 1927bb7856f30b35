"""Pieces of sessions as pyarrow tables, for the formats that pyarrow writes."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

import numpy as np
import pyarrow as pa

from ringpull.export import column_names

if TYPE_CHECKING:
    from ringpull.session import Session

WHOLE = ("session", "mark")


def schema(sessions: list[Session]) -> pa.Schema:
    """The schema of all sessions' columns; session and mark are integers."""
    return kinds_of(column_names(sessions))


def kinds_of(names: list[str]) -> pa.Schema:
    """The schema of columns with these names."""
    return pa.schema([(name, pa.int64() if name in WHOLE else pa.float64()) for name in names])


def as_arrow(table: dict[str, np.ndarray], kinds: pa.Schema) -> pa.Table:
    """A decoded piece as a pyarrow table. Columns that it lacks are null; NaN becomes null (an empty cell)."""
    rows = len(table["time_s"])
    arrays = []
    for field in kinds:
        values = table.get(field.name)
        if values is None:
            arrays.append(pa.nulls(rows, field.type))
        elif field.name in WHOLE:
            arrays.append(pa.array(values))
        else:
            arrays.append(pa.array(values, mask=np.isnan(values)))
    return pa.Table.from_arrays(arrays, schema=kinds)


def pieces(sessions: list[Session], progress: Callable[[float], None]) -> Iterator[pa.Table]:
    """The decoded rows in pieces of bounded size."""
    kinds = schema(sessions)
    total = sum(session.rows for session in sessions) or 1
    done = 0
    for session in sessions:
        for table in session.tables():
            yield as_arrow(table, kinds)
            done += len(table["time_s"])
            progress(done / total)
