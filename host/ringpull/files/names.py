"""What people tell a drive by if its vehicle has no name."""

from __future__ import annotations

from pathlib import Path

GENERIC = ("card", "drive", "pulls")  # names that every drive's folder or file has


def of_source(source: Path) -> str:
    """The name of a ring file or card folder, or of the folder around it if that name tells nothing."""
    path = source.absolute()
    for one in (path, *path.parents):
        if one.name and (one.stem if one.suffix == ".rpl" else one.name).lower() not in GENERIC:
            return one.name
    return source.name
