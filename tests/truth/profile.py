"""Broken-line functions of time with exact integral and inverse: the ground that all truth here stands on."""

from __future__ import annotations

import numpy as np

STEP_S = 1e-6  # a step is written as two points this far apart


class Profile:
    """A broken line through (time in s, value) points; two points at one time make a step. Flat beyond both ends."""

    def __init__(self, points: list[tuple[float, float]]) -> None:
        times = [float(points[0][0])]
        for before, after in zip(points, points[1:], strict=False):
            if after[0] < before[0]:
                raise ValueError("times must not fall")
            times.append(max(float(after[0]), times[-1] + STEP_S))
        self.t_s = np.array(times)
        self.y = np.array([float(value) for _, value in points])
        widths = np.diff(self.t_s)
        self._slope = np.diff(self.y) / widths
        self._area = np.concatenate([[0.0], np.cumsum(widths * (self.y[1:] + self.y[:-1]) / 2)])

    def __call__(self, t_s: np.ndarray | float) -> np.ndarray:
        """The value at each time."""
        return np.interp(t_s, self.t_s, self.y)

    def integral(self, t_s: np.ndarray | float) -> np.ndarray:
        """The area from the first point to each time (negative before it)."""
        t = np.asarray(t_s, float)
        piece = np.clip(np.searchsorted(self.t_s, t, side="right") - 1, 0, len(self._slope) - 1)
        inside = np.clip(t, self.t_s[0], self.t_s[-1])
        dt = inside - self.t_s[piece]
        area = self._area[piece] + dt * (self.y[piece] + 0.5 * self._slope[piece] * dt)
        return area + np.minimum(t - self.t_s[0], 0) * self.y[0] + np.maximum(t - self.t_s[-1], 0) * self.y[-1]

    def mean(self, from_s: np.ndarray, to_s: np.ndarray) -> np.ndarray:
        """The mean between two times."""
        return (self.integral(to_s) - self.integral(from_s)) / (np.asarray(to_s) - np.asarray(from_s))

    def when_integral(self, area: np.ndarray) -> np.ndarray:
        """The times at which the integral reaches `area`, between the end points; no negative values."""
        area = np.asarray(area, float)
        piece = np.clip(np.searchsorted(self._area, area, side="right") - 1, 0, len(self._slope) - 1)
        rest = area - self._area[piece]
        y0, slope = self.y[piece], self._slope[piece]
        # slope/2 dt^2 + y0 dt = rest, in the form that loses no digits where the slope is small
        root = np.sqrt(np.maximum(y0 * y0 + 2 * slope * rest, 0))
        with np.errstate(divide="ignore", invalid="ignore"):
            dt = np.where(rest == 0, 0.0, 2 * rest / (y0 + root))
        return self.t_s[piece] + dt

    def far_from_kinks(self, t_s: np.ndarray, margin_s: np.ndarray | float) -> np.ndarray:
        """True where no corner of the line, and neither end, is nearer than `margin_s`."""
        t = np.asarray(t_s, float)
        return np.all(np.abs(t[:, None] - self.t_s[None, :]) > np.broadcast_to(margin_s, t.shape)[:, None], axis=1)


def holds(levels: list[float], hold_s: float, between_s: float = 0.0, start_s: float = 0.0) -> Profile:
    """Levels held `hold_s` each, joined by steps or by ramps of `between_s`."""
    points, now = [], start_s
    for level in levels:
        points += [(now, level), (now + hold_s, level)]
        now += hold_s + between_s
    return Profile(points)


def ramps(corners: list[float], slope_per_s: float, hold_s: float) -> Profile:
    """From corner to corner at `slope_per_s`, with a hold at each."""
    points, now = [], 0.0
    for at, level in enumerate(corners):
        if at:
            now += abs(level - corners[at - 1]) / slope_per_s
        points += [(now, level), (now + hold_s, level)]
        now += hold_s
    return Profile(points)
