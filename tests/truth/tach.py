"""The tach signal of a random drive: edges with their faults, and the speed that a decoder gives for them."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from truth.engines import Chain
from truth.road import FINE_S, Road
from truth.signals import DROPOUT_SHARE, GLITCH_SHARE, GLITCH_US


@dataclass
class Tach:
    """edges_s: rising edges, glitches among them. speed_rpm: mean over the engine cycle around each row, NaN where
    the signal was lost; lost_s: those intervals."""

    edges_s: np.ndarray
    speed_rpm: np.ndarray
    lost_s: list[tuple[float, float]] = field(default_factory=list)


def make(rng: np.random.Generator, chain: Chain, road: Road, keep: list[tuple[float, float]]) -> Tach:
    """Edges one in 250 missing (half of the drives), glitches after one in ten (3 of 10), and in 15 of 100 drives one
    to three losses of U(0.2, 0.8) s anywhere but within 0.6 s of the intervals `keep`."""
    t_s = np.arange(road.rpm.size) * FINE_S
    count = int(road.phase_rev[-1] * chain.per_rev)
    edges = np.interp(np.arange(1, count) / chain.per_rev, road.phase_rev, t_s)
    lost = []
    for _ in range(int(rng.integers(1, 4)) if chain.tach_lost else 0):
        start = rng.uniform(2, t_s[-1] - 2)
        end = start + rng.uniform(0.2, 0.8)
        if all(end < low - 0.6 or start > high + 0.6 for low, high in keep):
            lost.append((start, end))
    there = np.ones(edges.size, bool)
    if chain.edges_drop:
        there &= rng.random(edges.size) > DROPOUT_SHARE
    for start, end in lost:
        there &= (edges < start) | (edges > end)
    edges = edges[there]
    rows = t_s[:: round(0.005 / FINE_S)]
    half = 60 / np.interp(rows, t_s, road.rpm)  # half an engine cycle: one revolution
    turned = np.interp(rows + half, t_s, road.phase_rev) - np.interp(rows - half, t_s, road.phase_rev)
    width = np.minimum(rows + half, t_s[-1]) - np.maximum(rows - half, 0)
    # Edges are known to a microsecond: two of them bound a cycle
    speed = 60 * turned / width * (1 + rng.normal(0, 1, rows.size) * 0.6e-6 / width)
    for start, end in lost:
        speed[(rows > start - half) & (rows < end + half)] = np.nan
    if chain.edges_glitch:
        hit = edges[rng.random(edges.size) < GLITCH_SHARE]
        edges = np.sort(np.concatenate([edges, hit + rng.uniform(*GLITCH_US, hit.size) / 1e6]))
    return Tach(edges, speed, lost)
