"""Frames, scales and SVG paths for the report's pictures.

Each picture is drawn twice, for wide and narrow screens: text that shrinks with its picture can't be read on a phone.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from ringpull.report.words import text


class Frame(NamedTuple):
    """The positions of a picture's panels, in pixels.

    high: height of the main panel. low: height of the panel below it, after `gap`. ticks: most ticks across.
    """

    name: str
    width: int
    high: int
    low: int
    gap: int
    left: int
    right: int
    top: int
    bottom: int
    ticks: int

    @property
    def edge(self) -> int:
        """The right end of the panels."""
        return self.width - self.right

    @property
    def middle(self) -> float:
        return (self.left + self.edge) / 2


WIDE = Frame("wide", 920, 300, 110, 30, 62, 66, 26, 40, 10)
NARROW = Frame("narrow", 372, 250, 84, 30, 40, 50, 26, 40, 5)


def both(draw: Callable[[Frame], str], total: Callable[[Frame], int], told: str) -> str:
    """The picture for both widths; the style sheet shows one of them.

    total: height of the picture in a frame. told: the picture described in words.
    """
    return "".join(
        f'<svg viewBox="0 0 {frame.width} {total(frame)}" role="img" aria-label="{text(told)}" class="curve '
        f'{frame.name}">'
        f"{draw(frame)}</svg>"
        for frame in (WIDE, NARROW)
    )


class Axis:
    """A scale from values to pixels."""

    def __init__(self, low: float, high: float, first: float, last: float) -> None:
        self.low, self.high, self.first, self.last = low, high, first, last

    def __call__(self, values):
        return self.first + (np.asarray(values) - self.low) / (self.high - self.low) * (self.last - self.first)

    def ticks(self, most: int) -> list[float]:
        """At most `most` round values within the scale."""
        rough = (self.high - self.low) / most
        power = 10.0 ** np.floor(np.log10(rough))
        step = next(s * power for s in (1, 2, 5, 10) if s * power >= rough)
        return [float(t) for t in np.arange(np.ceil(self.low / step - 1e-9), self.high / step + 1e-9) * step]


def stretches(x: np.ndarray, y: np.ndarray, gap: float) -> list[np.ndarray]:
    """Runs of (x, y) without NaN and without steps in x larger than `gap`; single points stay."""
    good = np.flatnonzero(np.isfinite(y))
    if not len(good):
        return []
    return np.split(good, np.flatnonzero(np.diff(x[good]) > gap) + 1)


def path(x: np.ndarray, y: np.ndarray, across: Axis, up: Axis, gap: float) -> str:
    """The SVG path data of a line."""
    out = []
    for run in stretches(x, y, gap):
        points = [f"{a:.1f} {b:.1f}" for a, b in zip(across(x[run]), up(y[run]), strict=True)]
        out.append("M" + "L".join(points) + ("h.1" if len(points) == 1 else ""))
    return "".join(out)


def band(x: np.ndarray, low: np.ndarray, high: np.ndarray, across: Axis, up: Axis, gap: float) -> str:
    """The SVG path data of the area between two lines."""
    out = []
    for run in stretches(x, low + high, gap):
        there = [f"{a:.1f} {b:.1f}" for a, b in zip(across(x[run]), up(high[run]), strict=True)]
        back = [f"{a:.1f} {b:.1f}" for a, b in zip(across(x[run]), up(low[run]), strict=True)]
        out.append("M" + "L".join(there + back[::-1]) + "Z")
    return "".join(out)
