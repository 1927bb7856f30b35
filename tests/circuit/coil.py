"""The switched end of an ignition coil's primary, spark after spark, as points for a piecewise linear source.

Common practice, no source: 1 V while charging (3 ms, less where the time between sparks does not allow it); when the
current is cut the winding flies to its peak within some 10 us (up to 400 V, less where the plug fires early) and rings
with its leakage inductance; then the burning spark holds some 25 V above the battery for about a millisecond; at its
end what is left rings down around the battery's volts.
"""

from __future__ import annotations

import numpy as np

BATTERY_V = 13.5
CHARGE_S = 3e-3
BURN_S = 1.1e-3


def sparks(rpm: float, per_rev: float, count: int, first_s: float = 5e-3) -> np.ndarray:
    """Times of `count` sparks at a steady engine speed."""
    return first_s + np.arange(count) * 60.0 / (rpm * per_rev)


def primary(times_s: np.ndarray, peak_v: float, ring_v: float, end_ring_v: float, seed: int = 1) -> tuple:
    """(time_s, volts) of the primary with sparks at `times_s`; every spark a little different (`seed`)."""
    random = np.random.default_rng(seed)
    period = np.min(np.diff(times_s))
    charge = min(CHARGE_S, 0.5 * period)
    burn = min(BURN_S, 0.3 * period)
    time, volts = [0.0], [BATTERY_V]
    for at in times_s:
        scale = 1 + 0.1 * random.uniform(-1, 1)
        time += [at - charge - 2e-6, at - charge, at]
        volts += [BATTERY_V, 1.0, 1.6]
        t = np.arange(1, 121) * 2.5e-6  # the flight and its ringing
        rise = 1 - np.exp(-t / 4e-6)
        fly = peak_v * scale * rise * np.exp(-((t / 55e-6) ** 2))
        ring = ring_v * scale * np.exp(-t / 80e-6) * np.sin(2 * np.pi * 28e3 * t)
        hold = (BATTERY_V + 25 * random.uniform(0.8, 1.4)) * (1 - np.exp(-t / 30e-6))
        time += list(at + t)
        volts += list(np.minimum(fly + ring + hold, 400.0))
        left = burn * random.uniform(0.85, 1.15)
        t = np.arange(t[-1] + 20e-6, left, 20e-6)  # the burning spark, restless
        time += list(at + t)
        volts += list(BATTERY_V + 25 + 6 * random.standard_normal(len(t)))
        t = np.arange(1, 161) * 10e-6  # the end of it
        t = t[left + t < period - charge - 1e-4]
        time += list(at + left + t)
        volts += list(BATTERY_V + end_ring_v * scale * np.exp(-t / 450e-6) * np.cos(2 * np.pi * 4.2e3 * t))
    time.append(times_s[-1] + 4e-3)
    volts.append(BATTERY_V)
    return np.asarray(time), np.asarray(volts)


def source(net: str, time_s: np.ndarray, volts: np.ndarray) -> list[str]:
    """Netlist lines: the primary behind 5 ohm."""
    points = [f"{t:.7f} {v:.2f}" for t, v in zip(time_s, volts)]
    lines = ["vcoil coil.n 0 pwl(" + points[0]]
    lines += ["+ " + " ".join(points[k : k + 8]) for k in range(1, len(points), 8)]
    return [*lines, "+ )", f"rcoil coil.n {net} 5"]
