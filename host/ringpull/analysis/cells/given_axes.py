"""Given table axes, compared with the drive: a table of another load would make a meaningless map."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ringpull.analysis.cells.passes import Axes, nearest
from ringpull.analysis.judge.session import Judged

# Choices of our own, no source
WORTH_TELLING = 0.01  # share of judged rows beyond the table that is reported
FAR_BEYOND = 1.9  # a table whose highest load exceeds the drive's by this factor has another unit: 200 kPa for 100 %


def remarks(judged: Sequence[Judged], axes: Axes) -> list[str]:
    """Remarks on where the table's breakpoints do not fit the judged rows. judged: sessions with one unit of load."""
    speeds, loads = axes.speeds, axes.loads
    unit = judged[0].columns.load_unit
    rpm = np.concatenate([one.columns.rpm for one in judged])
    load = np.concatenate([axis.values for one in judged if (axis := one.columns.load()) is not None])
    good = np.concatenate([one.masks.valid & np.isfinite(one.lambda_aligned) for one in judged]) & np.isfinite(load)
    if not good.any():
        return []
    out = []
    beyond = nearest(speeds, rpm[good]) < 0
    table = f"{speeds[0]:.0f}-{speeds[-1]:.0f} 1/min"
    if loads is not None:
        beyond |= nearest(loads, load[good]) < 0
        table += f", load {loads[0]:g}-{loads[-1]:g}"
    drive = (
        f"{rpm[good].min():.0f}-{rpm[good].max():.0f} 1/min, load {load[good].min():.0f}-{load[good].max():.0f} {unit}"
    )
    full = np.concatenate([one.loaded for one in judged])[good]
    under_load = beyond[full].mean() if full.any() else 0.0
    if max(beyond.mean(), under_load) >= WORTH_TELLING:
        share = f"{beyond.mean():.0%} of the judged rows ({under_load:.0%} of those under load)"
        out.append(f"{share} lie beyond the given table ({table}; the drive: {drive})")
    if loads is not None and full.any() and loads[-1] > FAR_BEYOND * load[good][full].max():
        out.append(
            f"the given table goes to a load of {loads[-1]:g}, the drive under load to {load[good][full].max():.0f} "
            f"{unit}: "
            "if the table's load is not in that unit, this map is meaningless"
        )
    return out
