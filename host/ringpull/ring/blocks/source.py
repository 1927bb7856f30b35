"""SRC as the user gives it -> the ring files to read."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from ringpull.errors import NotARingFile, SourceMissing
from shared_math import layout

RINGS = ("drive", "pulls")
SUFFIX = ".rpl"


@dataclass(frozen=True)
class RingFile:
    """One file of slots. name: as shown to the user. pulls: holds copies of pulls only, so holes in it are no loss."""

    path: Path
    name: str
    size: int
    pulls: bool = False

    @property
    def slots(self) -> int:
        """Whole slots."""
        return self.size // layout.SLOT

    @property
    def tail(self) -> int:
        """Bytes after the last whole slot: a file that was cut short."""
        return self.size % layout.SLOT


def ring_files(source: str | os.PathLike[str]) -> list[RingFile]:
    """The files of SRC: itself, or those of a card folder (drive.rpl and pulls.rpl), of a copy of the folder that a
    board without a card records in (drive and pulls, folders of segments), or of one folder of segments.

    Raises SourceMissing when there is nothing, NotARingFile when there is nothing in it.
    """
    path = Path(source)
    if path.is_dir():
        return _of_folder(path)
    if not path.exists():
        raise SourceMissing(
            f"there is no {path}",
            "a slip in the path, or a card that is not mounted",
            "check the path; a card's own folder may be given too",
        )
    if path.stat().st_size == 0:
        raise NotARingFile(
            f"{path.name} is empty",
            "the copy was interrupted, or the card was full when the file was made",
            "copy it again from the card",
        )
    return [_file(path, path.name, path.stem.startswith("pulls"))]


def _of_folder(folder: Path) -> list[RingFile]:
    out = []
    for ring in RINGS:
        for there in (folder / (ring + SUFFIX), folder / ring):
            if there.is_dir():
                out += _segments(there, there.name + "/", ring == "pulls")
            elif there.is_file() and there.suffix == SUFFIX and there.stat().st_size:
                out.append(_file(there, there.name, ring == "pulls"))
    if not out:
        out = _segments(folder, "", folder.name.startswith("pulls"))
    if not out:
        raise SourceMissing(
            f"there is no ring file in {folder}",
            "it is not the card's folder, or the card was never in the logger",
            "give the folder that holds drive.rpl, or a ring file itself",
        )
    return out


def _segments(folder: Path, prefix: str, pulls: bool) -> list[RingFile]:
    paths = sorted(path for path in folder.glob("*" + SUFFIX) if path.is_file() and path.stat().st_size)
    return [_file(path, prefix + path.name, pulls) for path in paths]


def _file(path: Path, name: str, pulls: bool) -> RingFile:
    return RingFile(path, name, path.stat().st_size, pulls)
