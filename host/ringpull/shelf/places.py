"""Where everything lies on a shelf, and what its names mean."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from pathlib import Path

from ringpull.errors import BadUsage
from ringpull.shelf.tables import FORMAT, TABLES

PLAIN = re.compile(r"[A-Za-z0-9._-]")
LONGEST = 80
TIDIED = "all"  # in place of a drive's name, in files that hold all drives of a car


def folder_name(car: str) -> str:
    """The folder of a car: `car=c_` and its name, whose letters beyond A-Z, digits, dot, dash and underscore are
    written as ~ and the hexadecimal digits of their UTF-8. `c_` keeps a car called 007 text in every program."""
    plain = (one if PLAIN.match(one) else "".join(f"~{byte:02x}" for byte in one.encode()) for one in car)
    return "car=c_" + "".join(plain)


def car_name(text: str) -> str:
    """A car's name as it is kept. BadUsage where it can't be one."""
    name = " ".join(text.split())
    if not name or len(folder_name(name)) > LONGEST or not name.isprintable():
        raise BadUsage(
            f"{text!r} can't be the name of a car",
            "it is empty, very long, or holds letters that can't be printed",
            "give a short name, as --car hill",
        )
    return name


def name_of(folder: str) -> str:
    """The car whose folder it is."""
    plain = folder.removeprefix("car=c_")
    return re.sub(r"(~[0-9a-f]{2})+", lambda run: bytes.fromhex(run[0].replace("~", "")).decode(), plain)


def root_of(path: Path) -> Path:
    """The shelf that a file lies on."""
    return next((one.parent for one in path.parents if one.name == f"v{FORMAT}"), path.parent)


def apart_by_a_slip(one: str, other: str) -> bool:
    """Whether two names differ by case alone, or by one letter more, less or other. Numbers tell cars apart."""
    first, second = sorted((one.casefold(), other.casefold()), key=len)
    if first == second:
        return True
    at = next((at for at, (a, b) in enumerate(zip(first, second, strict=False)) if a != b), len(first))
    if len(second) - len(first) > 1 or second[at].isdigit():
        return False
    return first[at:] == second[at + 1 :] or first[at + 1 :] == second[at + 1 :]


class Shelf:
    """The folders of a shelf. Nothing is made or read by asking for a place."""

    def __init__(self, root: Path) -> None:
        self.root = root
        self.base = root / f"v{FORMAT}"

    def folder(self, table: str, car: str) -> Path:
        """Of a table, or of "rings" and "calibrations"."""
        return self.base / table / folder_name(car)

    def file(self, table: str, car: str, drive: str, part: str, suffix: str = ".parquet") -> Path:
        return self.folder(table, car) / f"{drive}_{part}{suffix}"

    def source(self, fingerprint: str) -> Path:
        """The note that a card of this content was kept."""
        return self.base / "sources" / f"{fingerprint}.json"

    def folders(self, table: str, car: str | None = None) -> list[Path]:
        """The folders of a table: of all cars, or of one."""
        if car is not None:
            return [one for one in [self.folder(table, car)] if one.is_dir()]
        return sorted(one for one in (self.base / table).glob("car=c_*") if one.is_dir())

    def files(self, table: str, car: str | None = None) -> list[Path]:
        """The files of a table."""
        return [path for folder in self.folders(table, car) for path in sorted(folder.glob("*.parquet"))]

    def cars(self, table: str = "drives") -> list[str]:
        """The cars that a table has files of."""
        return [name_of(folder.name) for folder in self.folders(table) if any(folder.iterdir())]

    def refuse_file(self) -> None:
        """BadUsage where a file has the shelf's name."""
        if self.root.exists() and not self.root.is_dir():
            raise BadUsage(
                f"{self.root} is a file, and a shelf is a folder",
                "a slip in the path: the card comes first, the shelf after --in",
                "give the shelf's folder; a new one is made",
            )

    @property
    def exists(self) -> bool:
        return self.base.is_dir()

    def refuse_missing(self) -> None:
        """BadUsage where there is no shelf."""
        self.refuse_file()
        if not self.exists:
            newer = sorted(path.name for path in self.root.glob("v[0-9]*") if path.is_dir())
            if newer:
                raise BadUsage(
                    f"{self.root} is a shelf of version {newer[-1][1:]}, this program knows version {FORMAT}",
                    "it was made by a newer program",
                    "install a newer ringpull",
                )
            raise BadUsage(
                f"there is no shelf in {self.root}",
                "a slip in the path, or nothing was kept yet",
                f"keep a drive first: ringpull keep CARD --in {self.root} --car NAME",
            )


def parts_of(path: Path) -> tuple[str, str]:
    """(drive or TIDIED, part) of a file's name."""
    drive, _, part = path.stem.rpartition("_")
    return drive, part


def beside(shelf: Shelf, car: str, drive: str, part: str, tables: Iterable[str] = TABLES) -> Iterator[Path]:
    """The files of one judgement, whether they are there or not."""
    for table in tables:
        yield shelf.file(table, car, drive, part)
