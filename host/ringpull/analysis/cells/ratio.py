"""Measured lambda over target, row by row, for fuel map and comparison."""

from __future__ import annotations

import numpy as np

from ringpull.analysis.judge.session import Judged
from shared_math.obd.status import CLOSED

TRIMS = ("trim", "trim_long")


def ratio(judged: Judged, bank: str | None = None) -> np.ndarray:
    """Lambda over target, (rows,), with logged trims included; NaN where a mask takes the row out.

    bank: one of several; without it the leaner bank of each row.
    """
    lambda_ = judged.lambda_aligned if bank is None else judged.each_bank[bank]
    value = np.where(judged.masks.valid, lambda_ / judged.target, np.nan)
    state = judged.columns.extra.get("fuel_state")
    for role in TRIMS:
        trim = judged.columns.extra.get(role)
        if trim is None:
            continue
        if state is not None:  # in open loop a trim is a leftover: nothing follows it
            trim = np.where(np.isin(state, CLOSED), trim, 0.0)
        value = value * (1.0 + np.nan_to_num(trim) / 100.0)
    return value
