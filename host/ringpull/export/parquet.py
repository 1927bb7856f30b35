"""The decoded table as Parquet; units, configuration and start time are in the file's metadata."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pyarrow.parquet as pq

from ringpull.export import arrow
from shared_math import channels as shared_channels

if TYPE_CHECKING:
    from ringpull.drive import Drive
    from ringpull.session import Session


def write(drive: Drive, sessions: list[Session], path: Path, progress: Callable[[float], None]) -> int:
    """Write the sessions and return the number of rows. Values keep all their digits."""
    rows = 0
    told = about(sessions)
    # pandas reads the second name and puts its content into the attrs of the frame
    metadata = {b"ringpull": json.dumps(told).encode(), b"PANDAS_ATTRS": json.dumps({"units": told["units"]}).encode()}
    schema = arrow.schema(sessions).with_metadata(metadata)
    # engine speeds and times hardly repeat: to look each up in a dictionary costs a third of the time
    few: Any = [name for name in schema.names if name not in seldom_twice(sessions)]  # its stubs know only flags
    with pq.ParquetWriter(path, schema, compression="zstd", use_dictionary=few) as writer:
        for table in arrow.pieces(sessions, progress):
            writer.write_table(table.replace_schema_metadata(schema.metadata))
            rows += table.num_rows
    return rows


def seldom_twice(sessions: list[Session]) -> set[str]:
    """Columns whose values hardly repeat: those that are no converter's counts."""
    every = [one for session in sessions for one in session.config.channels]
    timed = [one for one in every if one.kind in shared_channels.PULSE_KINDS]
    return {"time_s"} | {column for one in timed for column in (one.column, one.duty_column)}


def about(sessions: list[Session]) -> dict:
    """What a table can't hold: units, configuration and start time of each session."""
    return {
        "units": {column: unit for session in sessions for column, unit in session.units.items()},
        "sessions": [
            {
                "id": session.id,
                "start_utc": session.start_utc,
                "rate_hz": session.rate_hz,
                "firmware": session.firmware,
                "board": session.board,
                "config": session.config.written,
            }
            for session in sessions
        ],
    }
