"""Given table axes, compared with the drive: a table of another load would make a meaningless map."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from ringpull.analysis.cells.passes import Axes, nearest
from ringpull.analysis.judge.session import Judged

# Choices of our own, no source
WORTH_TELLING = 0.01  # share of judged rows beyond the table that is reported
FAR_BEYOND = 1.9  # a table whose highest load exceeds the drive's by this factor has another unit: 200 kPa for 100 %


class Span(NamedTuple):
    """Least and most of the engine speeds and loads of a table or a drive. load: None for a table without loads."""

    rpm: tuple[float, float]
    load: tuple[float, float] | None


@dataclass(frozen=True)
class Misfit:
    """Where the table's breakpoints do not fit the judged rows. beyond, beyond_under_load: shares of the judged rows,
    and of those under load, that lie beyond the table; too few to tell where `outside` is false. other_unit: whether
    the table's load goes so far beyond full_load, the drive's highest, that it has another unit."""

    table: Span
    drive: Span
    load_unit: str
    beyond: float
    beyond_under_load: float
    outside: bool
    full_load: float
    other_unit: bool


def misfit(judged: Sequence[Judged], axes: Axes) -> Misfit | None:
    """How the table fits the judged rows; None if it does. judged: sessions with one unit of load."""
    speeds, loads = axes.speeds, axes.loads
    rpm = np.concatenate([one.columns.rpm for one in judged])
    load = np.concatenate([axis.values for one in judged if (axis := one.columns.load()) is not None])
    good = np.concatenate([one.masks.valid & np.isfinite(one.lambda_aligned) for one in judged]) & np.isfinite(load)
    if not good.any():
        return None
    beyond = nearest(speeds, rpm[good]) < 0
    if loads is not None:
        beyond |= nearest(loads, load[good]) < 0
    full = np.concatenate([one.loaded for one in judged])[good]
    under_load = float(beyond[full].mean()) if full.any() else 0.0
    share = float(beyond.mean())
    full_load = float(load[good][full].max()) if full.any() else float("nan")
    outside = max(share, under_load) >= WORTH_TELLING
    other_unit = loads is not None and bool(loads[-1] > FAR_BEYOND * full_load)
    if not (outside or other_unit):
        return None
    table = Span((speeds[0], speeds[-1]), None if loads is None else (loads[0], loads[-1]))
    drive = Span((rpm[good].min(), rpm[good].max()), (load[good].min(), load[good].max()))
    return Misfit(table, drive, judged[0].columns.load_unit, share, under_load, outside, full_load, other_unit)
