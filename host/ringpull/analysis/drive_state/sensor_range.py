"""The ends of what the lambda sensors can show: a reading there is a bound and not a measurement."""

from __future__ import annotations

import numpy as np

from ringpull.analysis.drive_state import roles
from ringpull.analysis.drive_state.columns import Columns
from shared_math import transfer


def lambda_range(config: dict) -> tuple[float, float]:
    """The widest range (least, most lambda) that every configured lambda channel can show; open where none says."""
    least, most = -np.inf, np.inf
    for channel in roles.lambda_channels(config.get("channels", [])):
        values = channel.get("values")
        if not values:
            continue
        scale = channel.get("stoich", 14.7) if channel.get("scale") == "afr" else 1.0
        least = max(least, min(values) / scale)
        most = min(most, max(values) / scale)
    return least, most


def rails(columns: Columns) -> tuple[np.ndarray, np.ndarray]:
    """(at the rich end, at the lean end) of the sensor's range, at the sensor's time."""
    least, most = lambda_range(columns.config)
    slack = transfer.RAIL * (most - least) if np.isfinite(most - least) else 0.0
    with np.errstate(invalid="ignore"):
        return columns.lambda_ <= least + slack, columns.lambda_ >= most - slack
