"""A table's axes as they were given, held against the drive: the table of another load makes a map that means
nothing."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ringpull.analysis.cells.passes import Axes, nearest
from ringpull.analysis.judge.session import Judged

# Choices of our own, no source
WORTH_TELLING = 0.01  # of what could be judged
FAR_BEYOND = 1.9  # a table's highest load over the drive's highest under load: 100 % against 200 kPa


def remarks(judged: Sequence[Judged], axes: Axes) -> list[str]:
    """What does not fit between the table's breakpoints and the judged rows of sessions whose load has one unit."""
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
        share = f"{beyond.mean():.0%} of what could be judged ({under_load:.0%} of what was under load)"
        out.append(f"{share} lies beyond the table given ({table}; the drive: {drive})")
    if loads is not None and full.any() and loads[-1] > FAR_BEYOND * load[good][full].max():
        out.append(
            f"the table given goes to a load of {loads[-1]:g}, the drive under load to {load[good][full].max():.0f} "
            f"{unit}: "
            "if the table's load is not in that unit, this map means nothing"
        )
    return out
