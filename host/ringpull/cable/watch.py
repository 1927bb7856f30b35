"""Marked pulls noticed as they end, fetched and judged."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from shared_math import layout

if TYPE_CHECKING:
    from ringpull.analysis.answer import Answer
    from ringpull.drive import Drive


class Watch:
    """Tells when another marked pull has ended and its last seconds are copied. state: link.Link.state() at the
    beginning; pulls that had ended by then are not told."""

    def __init__(self, state: dict) -> None:
        self.seen = _mark_of(state)

    def ended(self, state: dict) -> bool:
        """Whether a pull is ready to be fetched; True once for each."""
        mark = state["mark"]
        found = _mark_of(state)
        if not mark or layout.mark_open(mark) or state["copying"] or found == self.seen:
            return False
        self.seen = found
        return True

    def worth_asking(self, session: int, mark: int) -> bool:
        """Whether the state may tell of another pull. mark: the mark column of a newest row."""
        return bool(mark) and not layout.mark_open(mark) and self.seen[1:] != (session, mark)


def _mark_of(state: dict) -> tuple[str, int, int]:
    return state["ring"], state["session"], state["mark"]


def judge(folder: Path) -> tuple[Drive, Answer]:
    """What was fetched into a folder, judged. Raises what reading raises."""
    import ringpull
    from ringpull.analysis.answer import answer

    drive = ringpull.read(folder)
    return drive, answer(drive)
