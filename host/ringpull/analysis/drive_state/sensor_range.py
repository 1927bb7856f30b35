"""The ends of the lambda sensors' ranges, where a reading is a limit and not a measurement."""

from __future__ import annotations

import numpy as np

from ringpull.analysis import local
from ringpull.analysis.drive_state import roles
from ringpull.analysis.drive_state.columns import Columns
from ringpull.files.configuration import Configuration
from shared_math import transfer


def lambda_range(config: Configuration) -> tuple[float, float]:
    """(least, most) lambda that every configured lambda channel can show; infinite if no channel limits it."""
    least, most = -np.inf, np.inf
    for channel in roles.lambda_channels(config.channels):
        if channel.lambda_range is not None:
            least, most = max(least, channel.lambda_range[0]), min(most, channel.lambda_range[1])
    return least, most


FLAT_S, FLAT_RUN_S = 0.3, 0.1  # an output at its highest value for so long, in all and at a time, is clipped there
FLAT_BAND = 0.0015  # lambda
FLAT_LEAST = 1.05  # lambda: a lower flat top is not the end of a range
FLAT_MOST = 0.5  # largest share of all rows


def flat_top(columns: Columns) -> float:
    """The lambda at which a sensor's output is clipped below the end of its range; infinite if it isn't."""
    known = np.isfinite(columns.lambda_)
    if not known.any():
        return np.inf
    top = float(columns.lambda_[known].max())
    with np.errstate(invalid="ignore"):
        at_top = columns.lambda_ >= top - FLAT_BAND
    runs = [b - a for a, b in local.spans(at_top) if (b - a) * columns.period_s >= FLAT_RUN_S]
    flat = sum(runs) * columns.period_s >= FLAT_S and at_top[known].mean() < FLAT_MOST
    return top if flat and top >= FLAT_LEAST else np.inf


def rails(columns: Columns) -> tuple[np.ndarray, np.ndarray]:
    """(where the sensor is at the rich end of its range, where at the lean end), at the sensor's time."""
    least, most = lambda_range(columns.config)
    slack = transfer.RAIL * (most - least) if np.isfinite(most - least) else 0.0
    with np.errstate(invalid="ignore"):
        return columns.lambda_ <= least + slack, columns.lambda_ >= min(most - slack, flat_top(columns) - FLAT_BAND)
