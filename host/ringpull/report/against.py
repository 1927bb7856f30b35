"""The drive from before a change, which a report is held against."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from ringpull.analysis.cells.drive_comparison import DriveComparison

if TYPE_CHECKING:
    from ringpull.analysis.answer import Answer
    from ringpull.drive import Drive


@dataclass(frozen=True)
class Against:
    """drive, answer: of before the change. compared: before with after."""

    drive: Drive
    answer: Answer
    compared: DriveComparison
