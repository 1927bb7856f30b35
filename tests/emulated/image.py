"""The MicroPython image that the emulated board runs: named once by RINGPULL_UF2, remembered for later runs."""

from __future__ import annotations

import os
from pathlib import Path

VARIABLE = "RINGPULL_UF2"
REMEMBERED = Path(__file__).resolve().parent / "image.txt"  # this machine's own: not in the repository


def named(remembered: Path = REMEMBERED) -> Path | None:
    """The image's path; None where none was ever named, or it is gone."""
    given = os.environ.get(VARIABLE)
    if given:
        path = Path(given).resolve()
        if path.is_file():
            remembered.write_text(f"{path}\n", encoding="utf-8")
    elif remembered.exists():
        path = Path(remembered.read_text(encoding="utf-8").strip())
    else:
        return None
    return path if path.is_file() else None


def lacking() -> str:
    """What is said where there is none."""
    given = os.environ.get(VARIABLE)
    if given:
        return f"{VARIABLE} names {given}, which is not there"
    return f"no MicroPython image for RPI_PICO was named: set {VARIABLE} once"
