"""Finds the ring files of SRC, as given by the user."""

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
    """One file of slots. name: as shown to the user. pulls: it holds only copies of pulls, so gaps in it are no
    loss."""

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
        """Bytes after the last whole slot, if the file is incomplete."""
        return self.size % layout.SLOT


def ring_files(source: str | os.PathLike[str]) -> list[RingFile]:
    """The ring files of SRC.

    SRC is a ring file, a card folder (drive.rpl and pulls.rpl), a copy of the folder that a board without a card
    records into (folders of segments, drive and pulls), or one folder of segments. Raises SourceMissing if it doesn't
    exist or has no ring file, NotARingFile if the file is empty.
    """
    path = Path(source)
    if path.is_dir():
        return _of_folder(path)
    if not path.exists():
        raise SourceMissing(
            f"there is no {path}",
            "the path is mistyped, or the card is not mounted",
            "check the path; it may also be the card's own folder",
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


def without_a_byte(source: Path) -> str:
    """The name of the drive's own file in a card folder if it is there but empty, else ""."""
    there = source / (RINGS[0] + SUFFIX)
    return there.name if there.is_file() and not there.stat().st_size else ""


def _segments(folder: Path, prefix: str, pulls: bool) -> list[RingFile]:
    paths = sorted(path for path in folder.glob("*" + SUFFIX) if path.is_file() and path.stat().st_size)
    return [_file(path, prefix + path.name, pulls) for path in paths]


def _file(path: Path, name: str, pulls: bool) -> RingFile:
    return RingFile(path, name, path.stat().st_size, pulls)
