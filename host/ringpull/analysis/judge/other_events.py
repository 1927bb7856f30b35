"""Events other than lean ones: rich stretches, oscillation, boost overshoot and boost creep."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ringpull.analysis import local

RICH = 0.05
RICH_S = 0.4
WAVE_LEAST, WAVE_CYCLES, WAVE_HZ = 0.015, 3.0, (1.5, 8.0)
OVERSHOOT_KPA, CREEP_KPA_S = 10.0, 6.0
SETTLE_S = 0.8  # boost that overshoots has settled so long after its peak
SPOOLING = 4.0  # boost must first have risen by this factor faster than it creeps, else it is still building up


@dataclass(frozen=True)
class OtherEvent:
    """kind: "rich", "oscillation", "boost overshoot" or "boost creep". size: lambda below target, amplitude of lambda,
    or kPa. hz: frequency of an oscillation."""

    kind: str
    start_s: float
    end_s: float
    size: float
    hz: float = 0.0

    @property
    def length_s(self) -> float:
        """Length of the event in seconds."""
        return self.end_s - self.start_s


def rich(time_s: np.ndarray, excess: np.ndarray) -> list[OtherEvent]:
    """Stretches that are at least RICH below target for RICH_S. excess: lambda minus target, NaN where not judged."""
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
            out.append(OtherEvent("rich", start_s, end_s, size))
    return out


def oscillation(time_s: np.ndarray, excess: np.ndarray) -> list[OtherEvent]:
    """An oscillation of lambda: most of its variance in the judged rows is at one frequency within WAVE_HZ.

    It must also go up and down WAVE_CYCLES times, since a single hump has such a spectrum too.
    """
    good = np.isfinite(excess)
    runs = [(a, b) for a, b in local.spans(good)]
    if not runs:
        return []
    first, last = max(runs, key=lambda run: run[1] - run[0])
    if last - first < 2:
        return []
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
    if share < 0.5 or amplitude < WAVE_LEAST or swings(values, amplitude, hertz[peak] * period_s) < WAVE_CYCLES:
        return []
    return [OtherEvent("oscillation", float(time_s[first]), float(time_s[last - 1]), amplitude, float(hertz[peak]))]


def swings(values: np.ndarray, amplitude: float, cycles_a_row: float) -> int:
    """The number of swings of a wave about zero between half of -amplitude and half of amplitude, up or down, whichever
    is fewer."""
    smooth = local.mean(values, max(1, round(0.125 / cycles_a_row)))[0]
    place = np.where(smooth > 0.5 * amplitude, 1, np.where(smooth < -0.5 * amplitude, -1, 0))
    place = place[place != 0]
    turned = place[np.concatenate([[True], np.diff(place) != 0])] if len(place) else place
    return int(min(np.count_nonzero(turned > 0), np.count_nonzero(turned < 0)))


def boost(time_s: np.ndarray, map_kpa: np.ndarray, loaded: np.ndarray) -> list[OtherEvent]:
    """Overshoot and creep of boost.

    Overshoot is a peak more than OVERSHOOT_KPA above the straight line that pressure settles to (boost that tapers off
    with speed is not). Creep is a rise that continues through the later half after boost had built up.
    """
    runs = local.spans(loaded & np.isfinite(map_kpa))
    if not runs or len(time_s) < 3:
        return []
    first, last = max(runs, key=lambda run: run[1] - run[0])
    period_s = float(np.median(np.diff(time_s)))
    smooth = local.mean(map_kpa[first:last], local.half_rows(0.15, period_s))[0]
    if (last - first) * period_s < 2.0 or len(smooth) < 12 or smooth.max() < 110.0:
        return []
    half = len(smooth) // 2
    peak = int(np.argmax(smooth[:half]))
    out = []
    after = np.arange(peak + round(SETTLE_S / period_s), len(smooth))
    if peak < half - 1 and len(after) * period_s >= 0.5:
        size = float(smooth[peak] - np.polyval(np.polyfit(after - peak, smooth[after], 1), 0.0))
        if size > OVERSHOOT_KPA:
            at = float(time_s[first + peak])
            out.append(OtherEvent("boost overshoot", at, at, size))
    parts = np.array_split(smooth[half:], 2)
    slope = min(float(np.polyfit(np.arange(len(part)) * period_s, part, 1)[0]) for part in parts)
    if slope > CREEP_KPA_S and had_come(smooth[:half], period_s, slope):
        length_s = (len(smooth) - half - 1) * period_s
        size = float(np.polyfit(np.arange(len(smooth) - half) * period_s, smooth[half:], 1)[0]) * length_s
        out.append(OtherEvent("boost creep", float(time_s[first + half]), float(time_s[last - 1]), size))
    return out


def had_come(early_kpa: np.ndarray, period_s: float, slope: float) -> bool:
    """Whether boost had built up before: it was steady, or had risen much faster than `slope` (kPa/s)."""
    rows = max(1, round(0.5 / period_s))
    rates = (early_kpa[rows:] - early_kpa[:-rows]) / (rows * period_s)
    return bool(len(rates) and (np.abs(rates).min() < CREEP_KPA_S or rates.max() > SPOOLING * slope))
