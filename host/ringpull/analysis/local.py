"""Local straight lines: smoothed value and slope of a gridded column with gaps."""

from __future__ import annotations

import numpy as np

DIRECT = 500  # rows on each side (1 s at 1 kHz) above which sums over windows are made by Fourier transforms: faster


def half_rows(width_s: float, period_s: float) -> int:
    """Rows on each side of the middle row of a window of about `width_s`; at least one."""
    return max(1, round(width_s / period_s / 2.0))


def line(values: np.ndarray, period_s: float, half: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(value, slope per second, samples) of the least-squares line through the 2*half+1 rows around each row.

    NaN rows are left out. The result is NaN if fewer than half of the window's rows are valid, or none on one side.
    """
    offsets = np.arange(-half, half + 1, dtype=float)
    there = np.isfinite(values)
    filled = np.where(there, values, 0.0)

    def moment(column: np.ndarray, power: int) -> np.ndarray:
        # correlation, not convolution: the kernel is reversed
        kernel = (offsets**power)[::-1]
        return _convolved(column, kernel, half) if half > DIRECT else np.convolve(np.pad(column, half), kernel, "valid")

    n, k1, k2 = _places(there, half)
    y0, y1 = moment(filled, 0), moment(filled, 1)
    with np.errstate(invalid="ignore", divide="ignore"):
        spread = n * k2 - k1 * k1
        slope = (n * y1 - k1 * y0) / spread
        value = (y0 - slope * k1) / n
        good = (n >= half + 1) & (spread > 0) & (np.abs(k1) <= n * half * 0.51)
    return np.where(good, value, np.nan), np.where(good, slope / period_s, np.nan), n


def _convolved(column: np.ndarray, kernel: np.ndarray, half: int) -> np.ndarray:
    """The middle of their convolution, (rows,)."""
    size = 1 << (len(column) + len(kernel) - 2).bit_length()
    whole = np.fft.irfft(np.fft.rfft(column, size) * np.fft.rfft(kernel, size), size)
    return whole[half : half + len(column)]


def _places(there: np.ndarray, half: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Sums of 1, of the offset and of its square over the valid rows among the 2*half+1 around each row.

    They are integers, so running sums over all rows are exact at any width.
    """
    width = 2 * half + 1
    if len(there) > 2 * width and there.all():
        ends = _places(there[: 2 * width], half)  # all windows except those at the ends are full
        middle = len(there) - 2 * width
        n, s1, s2 = (np.concatenate([one[:width], np.full(middle, one[half]), one[width:]]) for one in ends)
        return n, s1, s2
    at = np.arange(len(there), dtype=np.int64)
    low, high = np.maximum(at - half, 0), np.minimum(at + half + 1, len(there))
    one = there.astype(np.int64)
    sums = []
    for values in (one, at * one, at * at * one):
        total = np.concatenate([[0], np.cumsum(values)])
        sums.append(total[high] - total[low])
    n, s1, s2 = sums
    return n.astype(float), (s1 - at * n).astype(float), (s2 - 2 * at * s1 + at * at * n).astype(float)


def mean(values: np.ndarray, half: int) -> tuple[np.ndarray, np.ndarray]:
    """(mean, number) of the valid rows among the 2*half+1 around each row; NaN without any."""
    there = np.isfinite(values)
    total = np.concatenate([[0.0], np.cumsum(np.where(there, values, 0.0))])
    count = np.concatenate([[0], np.cumsum(there)])
    at = np.arange(len(values))
    low, high = np.maximum(at - half, 0), np.minimum(at + half + 1, len(values))
    n = count[high] - count[low]
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(n > 0, (total[high] - total[low]) / n, np.nan), n


def spans(flags: np.ndarray) -> list[tuple[int, int]]:
    """The runs of True as (first row, row after the last)."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], flags.astype(np.int8), [0]])))
    return [(int(a), int(b)) for a, b in edges.reshape(-1, 2)]


def close_gaps(flags: np.ndarray, rows: int) -> np.ndarray:
    """The flags with runs of False between two runs of True filled in if they are no longer than `rows`."""
    out = flags.copy()
    runs = spans(flags)
    for (_, end), (start, _) in zip(runs, runs[1:], strict=False):
        if start - end <= rows:
            out[end:start] = True
    return out


def spread_after(flags: np.ndarray, rows: int) -> np.ndarray:
    """The flags with True also in the `rows` rows after each True."""
    last = np.maximum.accumulate(np.where(flags, np.arange(len(flags)), -(1 << 40)))
    return np.arange(len(flags)) - last <= rows


def near(time_s: np.ndarray, starts_s: np.ndarray, ends_s: np.ndarray) -> np.ndarray:
    """The rows within any of the spans, rising. time_s: (rows,) rising. starts_s, ends_s: (spans,)."""
    steps = np.zeros(len(time_s) + 1, np.int64)
    np.add.at(steps, np.searchsorted(time_s, starts_s), 1)
    np.add.at(steps, np.searchsorted(time_s, ends_s, side="right"), -1)
    return np.flatnonzero(np.cumsum(steps[:-1]) > 0)


def highest_before(values: np.ndarray, rows: int) -> np.ndarray:
    """The highest of each row and the `rows` rows before it, (rows,); -inf where none is valid."""
    out = np.where(np.isfinite(values), values, -np.inf)
    reach = 0
    while reach < rows:  # each time the rows that are looked back double
        step = min(reach + 1, rows - reach)
        out[step:] = np.maximum(out[step:], out[:-step])
        reach += step
    return out


def highest_near(values: np.ndarray, rows: int) -> np.ndarray:
    """The highest of each row and the `rows` rows before and after it, (rows,); -inf where none is valid."""
    return np.maximum(highest_before(values, rows), highest_before(values[::-1], rows)[::-1])
