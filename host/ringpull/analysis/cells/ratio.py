"""Measured lambda over target, row by row, for fuel map and comparison."""

from __future__ import annotations

import numpy as np

from ringpull.analysis.judge.session import Judged

TRIMS = ("trim", "trim_long")


def ratio(judged: Judged, bank: str | None = None) -> np.ndarray:
    """Lambda over target, (rows,), with logged trims included; NaN where a mask takes the row out.

    bank: one of several; without it the leaner bank of each row.
    """
    lambda_ = judged.lambda_aligned if bank is None else judged.each_bank[bank]
    value = np.where(judged.masks.valid, lambda_ / judged.target, np.nan)
    for role in TRIMS:
        trim = judged.columns.extra.get(role)
        value = value if trim is None else value * (1.0 + np.nan_to_num(trim) / 100.0)
    return value
