"""Decoded tables as files, with one writer for each format.

The columns are made in ring/values/decoded_columns.py. A new one is written if it is named too: one of a channel by
Session.channels, one of the whole session by `column_names` here.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING

from ringpull.errors import BadUsage, CannotWrite, RingpullError
from ringpull.files.outputs import whole

if TYPE_CHECKING:
    from ringpull.drive import Drive
    from ringpull.session import Session

FORMATS = {".csv": "csv_numbers", ".parquet": "parquet", ".mf4": "mf4"}


@dataclass(frozen=True)
class Written:
    """rows: number of rows written. path: the file."""

    path: Path
    rows: int


def export(
    drive: Drive, sessions: list[Session], path: Path, progress: Callable[[float], None] | None = None
) -> Written:
    """Write sessions of a drive in the format of the file's ending (.csv, .parquet, .mf4).

    The file appears whole or not at all. Raises BadUsage for an unknown ending, CannotWrite, MissingPart.
    """
    name = FORMATS.get(path.suffix.lower())
    if name is None:
        raise BadUsage(
            f"the ending of {path.name} does not choose a format",
            "the file's name is mistyped",
            "use one of the endings " + ", ".join(FORMATS),
        )
    if path.is_dir():
        raise CannotWrite(f"{path} is a folder", "a file of that name was meant", "give another name")
    if not path.parent.is_dir():
        raise CannotWrite(f"there is no folder {path.parent}", "the path is mistyped", "make the folder first")
    writer = import_module(f"ringpull.export.{name}")
    with whole(path) as fresh:
        rows = writer.write(drive, sessions, fresh, progress or (lambda fraction: None))
    return Written(path, rows)


def column_names(sessions: list[Session]) -> list[str]:
    """The column names: session, time_s, the channels of all sessions in order of appearance, mark."""
    channels = dict.fromkeys(channel.column for session in sessions for channel in session.channels)
    return ["session", "time_s", *channels, "mark"]


__all__ = ["FORMATS", "RingpullError", "Written", "column_names", "export"]
