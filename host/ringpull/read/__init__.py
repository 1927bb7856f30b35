"""Ring files -> drives. `ringpull.read(SRC)` is the way in."""

from __future__ import annotations

import os
from collections.abc import Callable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ringpull.drive import Drive


def read(source: str | os.PathLike[str], progress: Callable[[float], None] | None = None) -> Drive:
    """The drive that SRC holds: a ring file, a folder of segments, or a card folder.

    progress: called with the fraction of the files looked at. Rows are decoded when they are asked for.
    Raises errors.SourceMissing, NotARingFile (no block of a ring), NothingReadable (blocks, but no rows that can be
    decoded), and OSError.
    """
    from ringpull.drive import Drive

    return Drive.open(source, progress)
