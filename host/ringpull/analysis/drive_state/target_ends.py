"""Where a drive goes beyond the ends of its target's table, and is held against the last row or column of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ringpull.analysis.drive_state import target
from ringpull.analysis.drive_state.columns import Columns

# Beyond the last point by more than this share the table was made for another engine or in other units. Common
# practice, no source
LOAD_SHARE, SPEED_SHARE = 0.15, 0.25


@dataclass(frozen=True)
class Beyond:
    """One axis of a target's table that the drive goes beyond. last: its last point. unit: of it, such as "kPa" or
    "rpm". values: the drive's readings (rows,), NaN where they are within."""

    last: float
    unit: str
    values: np.ndarray


def beyond(columns: Columns) -> tuple[Beyond, ...]:
    """The axes that a session goes well beyond."""
    found: dict[tuple[float, str], np.ndarray] = {}
    for entry, here in target.chosen(columns):
        axis = columns.load_of(entry.load)
        pairs = [(entry.speeds, columns.rpm, "rpm", SPEED_SHARE)]
        pairs += [] if axis is None else [(entry.loads, axis.values, axis.unit, LOAD_SHARE)]
        for points, values, unit, share in pairs:
            if len(points) > 1:
                last = float(points[-1])
                with np.errstate(invalid="ignore"):
                    outside = here & (values > last * (1.0 + share))
                if outside.any():
                    into = found.setdefault((last, unit), np.full(len(columns), np.nan))
                    into[outside] = values[outside]
    return tuple(Beyond(last, unit, values) for (last, unit), values in found.items())
