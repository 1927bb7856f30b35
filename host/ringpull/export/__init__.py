"""Decoded tables as files: one writer for each format, all fed with the same pieces."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING

from ringpull.errors import BadUsage, CannotWrite, RingpullError

if TYPE_CHECKING:
    from ringpull.drive import Drive, Session

FORMATS = {".csv": "csv", ".parquet": "parquet", ".mf4": "mf4"}


@dataclass(frozen=True)
class Written:
    """rows: written. path: of the file."""

    path: Path
    rows: int


def export(
    drive: Drive, sessions: list[Session], path: Path, progress: Callable[[float], None] | None = None
) -> Written:
    """Write sessions of a drive as the file's ending says (.csv, .parquet, .mf4).

    The file appears whole or not at all. Raises BadUsage for an unknown ending, CannotWrite, MissingPart.
    """
    name = FORMATS.get(path.suffix.lower())
    if name is None:
        raise BadUsage(
            f"{path.name} has no ending that says what to write",
            "a slip in the file's name",
            "end it in " + ", ".join(FORMATS),
        )
    if path.is_dir():
        raise CannotWrite(f"{path} is a folder", "a file of that name was meant", "give another name")
    if not path.parent.is_dir():
        raise CannotWrite(f"there is no folder {path.parent}", "a slip in the path", "make the folder first")
    writer = import_module(f"ringpull.export.{name}")
    fresh = path.with_name(path.name + ".new" + path.suffix)
    try:
        rows = writer.write(drive, sessions, fresh, progress or (lambda fraction: None))
        fresh.replace(path)
    except OSError as fault:
        told = os.strerror(fault.errno) if fault.errno else "no reason was given"  # pyarrow's own text is a paragraph
        raise CannotWrite(
            f"{path} can't be written ({told})",
            "the folder is read-only or the disk is full",
            "write to another place",
        ) from None
    finally:
        fresh.unlink(missing_ok=True)
    return Written(path, rows)


def column_names(sessions: list[Session]) -> list[str]:
    """session, time_s, the channels of all sessions in the order in which they come, mark."""
    channels = dict.fromkeys(channel.column for session in sessions for channel in session.channels)
    return ["session", "time_s", *channels, "mark"]


__all__ = ["FORMATS", "RingpullError", "Written", "column_names", "export"]
