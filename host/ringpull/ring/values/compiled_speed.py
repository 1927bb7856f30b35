"""The search of speed._widths compiled by numba, if it is installed: the same search row by row, for large files only.

It steps from one row's cycle to the next one's, where numpy gathers the curve anew for all rows in each step.
"""

from __future__ import annotations

import numpy as np
from numba import njit

spot = np.uintp  # as in rows/compiled.py


@njit(cache=True, nogil=True)
def _at(x, starts, k):
    """The interval in which x lies, from that of its neighbour."""
    while k > 0 and x < starts[spot(k)]:
        k -= 1
    while k < len(starts) - 2 and x >= starts[spot(k + 1)]:
        k += 1
    return k


@njit(cache=True, nogil=True)
def _value(x, starts, y, slope, half_bend, k):
    s = x - starts[spot(k)]
    return y[spot(k)] + s * (slope[spot(k)] + half_bend[spot(k)] * s)


@njit(cache=True, nogil=True)
def widths(starts, y, slope, half_bend, times, cycle, steps, near, out):
    """The time that the cycle around each of `times` takes, to `out`. starts, y: (n,) points of the curve. slope,
    half_bend: (n - 1,) of its parabolas. steps, near: most steps of the search, and its precision."""
    half = cycle / 2
    low, high = starts[0] + half, starts[-1] - half
    here = begin = end = 0
    for i in range(len(times)):
        t = times[i]
        here = _at(t, y, here)
        k = spot(here)
        x = (starts[k + spot(1)] - starts[k]) / (y[k + spot(1)] - y[k]) * (t - y[k]) + starts[k]
        x = min(max(x, low), high)
        for step in range(steps + 1):
            begin, end = _at(x - half, starts, begin), _at(x + half, starts, end)
            first = _value(x - half, starts, y, slope, half_bend, begin)
            last = _value(x + half, starts, y, slope, half_bend, end)
            width = last - first
            if step == steps:
                break
            moved = min(max(x + (t - (first + last) / 2) * cycle / max(width, 1.0), low), high)
            done = abs(moved - x) <= near
            x = moved
            if done:
                break
        out[i] = width
