"""Whether a channel that measures a known value, such as a reference voltage, reads it."""

from __future__ import annotations

import numpy as np

from ringpull.analysis import local
from ringpull.analysis.instruments.glance import Glance, decimated, shares
from ringpull.analysis.instruments.records import Cause, Check, Finding, contradicted, not_tested, sound
from ringpull.files.configuration import ConfiguredChannel

MEAN_S = 0.25  # limits are close to the value: noise of single rows may pass them
OFF_S, TESTED_S = 1.0, 5.0  # most time outside in all; least time that tests it
IN_A_ROW = 2  # means outside one after the other: as long as a supply sags in a pull


def known(glance: Glance, channel: ConfiguredChannel) -> Finding:
    """Whether a channel stays within its `expect` while the engine runs; no reading at all is outside."""
    columns = glance.columns
    values = columns.named.get(channel.name)
    if values is None or not channel.expect:
        return not_tested(Check.KNOWN)
    low, high = channel.expect
    rows = max(1, round(MEAN_S / columns.period_s))
    means = decimated(values, rows)
    running = shares(np.repeat(glance.running & glance.present, glance.rows), rows) > 0.5
    means = means[: len(running)][running[: len(means)]]
    with np.errstate(invalid="ignore"):
        within = (means >= low) & (means <= high)
    mean_s = rows * columns.period_s
    off_s = float(np.count_nonzero(~within)) * mean_s
    figures = {"low": low, "high": high}
    longest = max((b - a for a, b in local.spans(~within)), default=0)
    if off_s > OFF_S or longest >= IN_A_ROW:
        told = means[~within & np.isfinite(means)]
        value = float(np.median(told)) if len(told) else float("nan")
        return contradicted(Check.KNOWN, Cause.REFERENCE, value=value, seconds=off_s, **figures)
    if len(means) * mean_s < TESTED_S:
        return not_tested(Check.KNOWN)
    return sound(Check.KNOWN, value=float(np.median(means[within])), seconds=len(means) * mean_s, **figures)
