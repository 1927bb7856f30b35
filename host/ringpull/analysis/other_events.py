"""Events that are not lean: rich stretches, oscillation, boost overshoot and creep."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ringpull.analysis import local

RICH = 0.05
RICH_S = 0.4
WAVE_LEAST, WAVE_CYCLES, WAVE_HZ = 0.015, 3.0, (1.5, 8.0)
OVERSHOOT_KPA, CREEP_KPA_S = 10.0, 6.0


@dataclass(frozen=True)
class OtherEvent:
    """kind: "rich", "oscillation", "boost overshoot" or "boost creep". size: lambda below target, amplitude of lambda,
    or kPa; words: one sentence."""

    kind: str
    start_s: float
    end_s: float
    size: float
    words: str


def rich(time_s: np.ndarray, excess: np.ndarray) -> list[OtherEvent]:
    """Stretches at least RICH below target for RICH_S. excess: lambda minus target, NaN where not judged."""
    if len(time_s) < 10:
        return []
    period_s = float(np.median(np.diff(time_s)))
    with np.errstate(invalid="ignore"):
        flags = local.mean(excess, local.half_rows(0.2, period_s))[0] < -RICH
    out = []
    for first, last in local.spans(local.close_gaps(flags & np.isfinite(excess), round(0.1 / period_s))):
        if (last - first) * period_s >= RICH_S:
            size = -float(np.nanmin(local.mean(excess[first:last], local.half_rows(0.2, period_s))[0]))
            start_s, end_s = float(time_s[first]), float(time_s[last - 1] + period_s)
            out.append(OtherEvent("rich", start_s, end_s, size, f"rich by {size:.3f} for {end_s - start_s:.2f} s"))
    return out


def oscillation(time_s: np.ndarray, excess: np.ndarray) -> list[OtherEvent]:
    """A wave of lambda that carries most of its variance at one frequency within WAVE_HZ, over the judged part."""
    good = np.isfinite(excess)
    runs = [(a, b) for a, b in local.spans(good)]
    if not runs:
        return []
    first, last = max(runs, key=lambda run: run[1] - run[0])
    period_s = float(np.median(np.diff(time_s)))
    length_s = (last - first) * period_s
    if length_s < 1.2:
        return []
    values = excess[first:last]
    at = np.arange(len(values))
    values = values - np.polyval(np.polyfit(at, values, 2), at)
    power = np.abs(np.fft.rfft(values * np.hanning(len(values)))) ** 2
    hertz = np.fft.rfftfreq(len(values), period_s)
    band = (hertz >= max(WAVE_HZ[0], WAVE_CYCLES / length_s)) & (hertz <= WAVE_HZ[1])
    if not band.any():
        return []
    peak = int(np.flatnonzero(band)[np.argmax(power[band])])
    near = slice(max(peak - 2, 0), peak + 3)
    share = power[near].sum() / max(power[1:].sum(), 1e-30)
    amplitude = float(np.sqrt(2.0 * np.var(values) * share))
    if share < 0.5 or amplitude < WAVE_LEAST:
        return []
    words = f"lambda swings by +/- {amplitude:.3f} at {hertz[peak]:.1f} Hz"
    return [OtherEvent("oscillation", float(time_s[first]), float(time_s[last - 1]), amplitude, words)]


def boost(time_s: np.ndarray, map_kpa: np.ndarray, loaded: np.ndarray) -> list[OtherEvent]:
    """Overshoot: a peak of pressure more than OVERSHOOT_KPA above where it settles. Creep: a steady rise after that."""
    runs = local.spans(loaded & np.isfinite(map_kpa))
    if not runs:
        return []
    first, last = max(runs, key=lambda run: run[1] - run[0])
    period_s = float(np.median(np.diff(time_s)))
    smooth = local.mean(map_kpa[first:last], local.half_rows(0.15, period_s))[0]
    if (last - first) * period_s < 2.0 or smooth.max() < 110.0:
        return []
    half = len(smooth) // 2
    peak = int(np.argmax(smooth[:half]))
    settled = float(np.median(smooth[half:]))
    out = []
    if smooth[peak] - settled > OVERSHOOT_KPA and peak < half - 1:
        size = float(smooth[peak] - settled)
        at = float(time_s[first + peak])
        out.append(OtherEvent("boost overshoot", at, at, size, f"boost overshot by {size:.0f} kPa"))
    later = np.arange(len(smooth) - half) * period_s
    slope = float(np.polyfit(later, smooth[half:], 1)[0])
    if slope > CREEP_KPA_S:
        size = slope * float(later[-1])
        words = f"boost crept up by {size:.0f} kPa over {later[-1]:.1f} s"
        out.append(OtherEvent("boost creep", float(time_s[first + half]), float(time_s[last - 1]), size, words))
    return out
