"""The drive from before a change, with which a report compares."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from ringpull.analysis.cells.drive_comparison import DriveComparison

if TYPE_CHECKING:
    from ringpull.analysis.answer import Answer
    from ringpull.drive import Drive


@dataclass(frozen=True)
class Against:
    """drive, answer: those from before the change. compared: the comparison of before with after."""

    drive: Drive
    answer: Answer
    compared: DriveComparison
