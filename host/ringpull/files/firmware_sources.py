"""The folders of the firmware's and shared_math's sources, in the repository or in the installed wheel."""

from __future__ import annotations

from pathlib import Path

import shared_math
from ringpull.errors import MissingPart


def firmware_dir() -> Path:
    """The folder that holds the firmware's main.py. Raises MissingPart."""
    here = Path(__file__).resolve().parents[1]
    for folder in (here / "_firmware", here.parent.parent / "firmware"):
        if (folder / "main.py").exists():
            return folder
    raise MissingPart(
        "the firmware's sources are missing",
        "ringpull was installed without them",
        "install it again with pip, or run it from the repository",
    )


def shared_math_dir() -> Path:
    """The folder of the shared_math package."""
    assert shared_math.__file__ is not None
    return Path(shared_math.__file__).resolve().parent
