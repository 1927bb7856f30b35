"""The report: one offline HTML file with the whole answer."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ringpull.analysis.answer import Answer
    from ringpull.drive import Drive
    from ringpull.report.against import Against
    from ringpull.report.data import Packing


def write_report(
    drive: Drive, answer: Answer, output: Path, against: Against | None = None, packing: Packing | None = None
) -> Path:
    """Write the report of a judged drive to `output` and return that path; missing folders are made.

    against: the drive from before the change. packing: the packed samples, if packing was started earlier. Raises
    OSError if the file can't be written.
    """
    from ringpull.report.page import page

    output = Path(output)
    text = page(drive, answer, against, packing)
    output.parent.mkdir(parents=True, exist_ok=True)
    output.write_text(text, encoding="utf-8", errors="replace")
    return output
