"""A line through two known voltages: from readings to a calibration with its uncertainty, or the reason why not.

Uncertainties in the manner of JCGM 100:2008 (the GUM). A meter's stated limits are half-widths of rectangular
distributions (4.3.7); the mean of repeated readings has the standard deviation of the mean (4.2.3); a voltage on the
line V = V1 + (V2 - V1) (N - N1) / (N2 - N1) has the sensitivities 1 - s and s to the known voltages, -b (1 - s) and
-b s to their counts, b to its own, with s = (V - V1) / (V2 - V1) (5.1.2, equation 10). What a meter is off by in
proportion it is off by at both points alike: these parts are summed before they are squared (5.2.2, equation 16).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from ringpull.analysis.judge.input_uncertainty import line_u
from ringpull.errors import DoesNotFit
from shared_math import boards, channels, converters, front_end, proving

BATCHES = 4
LEAST_SHARE = 0.2  # of the channel's range, between the two points (common practice, no source)
UNKNOWN_BEND_COUNTS = 4  # of a converter whose errors nobody tells (from memory of data sheets: 1 to 2, doubled)
GROUND_MOST_V = 0.050  # what is more is mended in the wiring, not in figures (common practice, no source)
COVERAGE = 2.0  # JCGM 100, 6.3.3: some 95 % with a normal distribution


@dataclass(frozen=True)
class Meter:
    """Limits of the instrument that the known voltages are read on: of the reading, in parts, and in volts."""

    parts: float = front_end.MULTIMETER
    volts: float = 0.0

    def u_common(self, volts: float) -> float:
        """Standard uncertainty that all readings have in common."""
        return abs(volts) * self.parts / float(np.sqrt(3.0))

    @property
    def u_own(self) -> float:
        """Standard uncertainty of each reading by itself."""
        return self.volts / float(np.sqrt(3.0))


@dataclass(frozen=True)
class Converter:
    """bits: of its counts. volts: from its lowest to its highest count, at its pin. bend_v: half-widths at its pin, as
    it comes and after a two-point calibration."""

    bits: int
    volts: float
    bend_v: tuple[float, float]

    @classmethod
    def told(cls, answer: dict[str, Any]) -> Converter:
        """From the logger's words (CABLE.md, "converter")."""
        step = answer["volts"] / (1 << answer["bits"])
        errors = answer.get("errors") or (UNKNOWN_BEND_COUNTS * step, UNKNOWN_BEND_COUNTS * step)
        return cls(answer["bits"], answer["volts"], (errors[0], errors[1]))


@dataclass(frozen=True)
class Reading:
    """counts: mean. u_counts: standard uncertainty of the mean. sigma: of one reading. least, most: of all. rows."""

    counts: float
    u_counts: float
    sigma: float
    least: int
    most: int
    rows: int
    drift: float  # between the batches, lowest to highest mean

    @classmethod
    def of(cls, batches: Sequence[dict[str, Any]]) -> Reading:
        """From what the logger said of several batches of rows (CABLE.md, "mean")."""
        rows = sum(one["rows"] for one in batches)
        means = np.array([one["base"] + one["sum"] / one["rows"] for one in batches])
        sigma = float(np.sqrt(np.mean([proving.sigma(one) ** 2 for one in batches])))
        of_rows = sigma / np.sqrt(rows)
        of_batches = float(np.std(means, ddof=1)) / np.sqrt(len(means)) if len(means) > 1 else 0.0
        # Without noise that spans a step a mean is no finer than the step
        step = 1 / np.sqrt(12.0) if sigma < 0.5 else 0.0
        return cls(
            counts=float(np.average(means, weights=[one["rows"] for one in batches])),
            u_counts=float(np.hypot(max(of_rows, of_batches), step)),
            sigma=sigma,
            least=min(one["least"] for one in batches),
            most=max(one["most"] for one in batches),
            rows=rows,
            drift=float(np.ptp(means)),
        )


@dataclass(frozen=True)
class Point:
    """A known voltage at the terminal, and what the logger read there."""

    volts: float
    reading: Reading


@dataclass(frozen=True)
class Line:
    """Through two points. bits: of their counts. u_volts: standard uncertainty of each point."""

    counts: tuple[float, float]
    volts: tuple[float, float]
    u_volts: tuple[float, float]
    bits: int

    def at(self, counts: float) -> float:
        """Volts at the terminal."""
        (n0, n1), (v0, v1) = self.counts, self.volts
        return v0 + (counts - n0) * (v1 - v0) / (n1 - n0)

    @property
    def slope(self) -> float:
        """Volts a count."""
        return (self.volts[1] - self.volts[0]) / (self.counts[1] - self.counts[0])

    def u_at(self, volts: float) -> float:
        """Standard uncertainty of the line at a voltage."""
        return line_u(self.u_volts, self.volts, volts)

    def as_key(self, day: str) -> dict[str, Any]:
        """The channel's `calibration` in logger.json."""
        return {
            "counts": [round(one, 2) for one in self.counts],
            "volts": [round(one, 5) for one in self.volts],
            "bits": self.bits,
            "u_volts": [round(one, 5) for one in self.u_volts],
            "date": day,
        }


@dataclass(frozen=True)
class Residual:
    """What the line makes of a further point. off_v: line less known. limit_v: that still fits."""

    volts: float
    off_v: float
    u_v: float
    limit_v: float


@dataclass(frozen=True)
class Fit:
    """line: accepted. gain: slope over the nominal one. gain_limit: half of the width that the parts allow."""

    line: Line
    gain: float
    gain_limit: float
    zero_v: float
    residuals: list[Residual]


def refuse_reading(reading: Reading, converter: Converter, board: str = "") -> None:
    """Raises DoesNotFit where a reading is no ground for anything: at an end of the range, noisy or moving."""
    top = (1 << converter.bits) - 1
    least_v = boards.LEAST_V.get(board, 0.0)
    if reading.least <= least_v / converter.volts * top + 1 or reading.most >= top - 1:
        raise DoesNotFit(
            f"the input stands at an end of its range ({reading.least} to {reading.most} of {top} counts)",
            "the voltage is beyond what the input measures, nothing is joined to it, or its ground is missing",
            "use a voltage between 0.5 and 4.5 V at the terminal, its ground on the logger's",
        )
    if reading.sigma * proving.NOISE_PARTS > top + 1:
        raise DoesNotFit(
            f"the readings scatter by {reading.sigma:.1f} counts; {(top + 1) / proving.NOISE_PARTS:.1f} are the most",
            "the voltage comes from a charger that is noisy, or the ground wire has no contact",
            "use a battery with resistors, look at the ground, and measure again",
        )
    if reading.drift > 4 * reading.sigma * np.sqrt(BATCHES / reading.rows) + 2:
        raise DoesNotFit(
            f"the voltage moved by {reading.drift:.1f} counts while it was read",
            "it was still being turned, or its source warms up",
            "wait until the multimeter stands still, then measure again",
        )


def fit(
    channel: dict[str, Any], config: dict[str, Any], converter: Converter, meter: Meter, points: list[Point]
) -> Fit:
    """The line through the outermost of two or more points; the others prove it. Raises DoesNotFit."""
    ordered = sorted(points, key=lambda one: one.volts)
    low, high = ordered[0], ordered[-1]
    apart = high.volts - low.volts
    least = LEAST_SHARE * span(channel, converter)
    if len(ordered) < 2 or apart < least:
        raise DoesNotFit(
            f"the two voltages are {apart:.3f} V apart",
            f"a line needs a fifth of the input's range between them, {least:.2f} V: errors grow outside",
            "take one near a quarter of the range and one near three quarters",
        )
    if high.reading.counts - low.reading.counts < 1:
        raise DoesNotFit(
            "the input reads less or the same at the higher voltage",
            "the voltages were exchanged, or another input was joined",
            "measure both again, at the terminal of this very input",
        )
    slope = apart / (high.reading.counts - low.reading.counts)
    u_volts = [
        float(np.hypot(np.hypot(meter.u_common(one.volts), meter.u_own), slope * one.reading.u_counts))
        for one in (low, high)
    ]
    line = Line(
        (low.reading.counts, high.reading.counts),
        (low.volts, high.volts),
        (u_volts[0], u_volts[1]),
        converter.bits,
    )
    gain, limit, zero_v = _against_parts(channel, config, converter, line, meter)
    bend = converter.bend_v[1] * slope * (1 << converter.bits) / converter.volts
    residuals = [_residual(line, meter, low, high, one, bend) for one in ordered[1:-1]]
    for one in residuals:
        if abs(one.off_v) > one.limit_v:
            raise DoesNotFit(
                f"a further voltage does not lie on the line: {one.volts:.3f} V reads {one.off_v * 1000:+.1f} mV off, "
                f"{one.limit_v * 1000:.1f} mV are what is possible",
                "one of the voltages was typed wrongly or moved, a contact is loose, or the converter bends",
                "measure all of them again",
            )
    return Fit(line, gain, limit, zero_v, residuals)


def span(channel: dict[str, Any], converter: Converter) -> float:
    """Volts that the channel uses, or else that its input measures."""
    if "volts" in channel:
        return float(max(channel["volts"]) - min(channel["volts"]))
    top, bottom = channels.divider_of(channel)
    return converter.volts * (top + bottom) / bottom


def nominal(channel: dict[str, Any], config: dict[str, Any], converter: Converter) -> tuple[float, float]:
    """(volts a count, volts at zero counts) by divider and reference alone."""
    part = converters.part_of(config, channel["input"])
    signed = part is not None and converters.signed(part)
    return channels.nominal_line(channel, converter.bits, converter.volts, signed)


def _against_parts(
    channel: dict[str, Any], config: dict[str, Any], converter: Converter, line: Line, meter: Meter
) -> tuple[float, float, float]:
    """(gain over the nominal one, how far from 1 the parts allow, volts at nominal zero). Raises DoesNotFit."""
    slope, zero = nominal(channel, config, converter)
    front = channel.get("front", front_end.PLAIN)
    top, bottom = channels.divider_of(channel)
    tolerance = front_end.RESISTOR_TOLERANCE[front]
    reference = front_end.FITTED_REFERENCE_TOLERANCE if config.get("reference_v") else front_end.REFERENCE_TOLERANCE
    at_terminal = slope * (1 << converter.bits) / converter.volts
    apart = line.volts[1] - line.volts[0]
    bend = converter.bend_v[0] * at_terminal
    resistors = 2 * tolerance * (top / (top + bottom) if front == front_end.PLAIN else 1.0)
    known = COVERAGE * float(np.hypot(*line.u_volts)) / apart + meter.parts
    limit = resistors + reference + 2 * bend / apart + known
    gain = line.slope / slope
    if abs(gain - 1) > limit:
        raise DoesNotFit(
            f"the input's gain is {100 * (gain - 1):+.1f} % off what its parts make; {100 * limit:.1f} % are possible",
            "a wrong resistor, a divider that logger.json does not tell of, or a voltage that was not at this terminal",
            "look at the resistors and at `divider`, then measure both voltages again",
        )
    zero_v = line.at(-zero / slope)
    amplifier = front_end.OFFSET_V * ((top + bottom) / bottom + 1.0) if front == front_end.DIFFERENTIAL else 0.0
    far = (line.volts[0] + line.volts[1]) / apart
    most = (bend + amplifier) * far + COVERAGE * line.u_at(0.0) + limit * line.volts[0]
    if abs(zero_v) > most:
        raise DoesNotFit(
            f"the input reads {zero_v * 1000:+.0f} mV off at 0 V; {most * 1000:.0f} mV are possible",
            "its ground is not the multimeter's: a ground wire that carries current, or one that is loose",
            "measure between the input's terminal and the ground terminal beside it",
        )
    return gain, limit, zero_v


def _residual(line: Line, meter: Meter, low: Point, high: Point, point: Point, bend_v: float) -> Residual:
    """Of a further point. A meter that is off in proportion is off by the same share everywhere, which a line shows
    nowhere: that part is left out."""
    share = (point.volts - low.volts) / (high.volts - low.volts)
    counted = float(np.sqrt(1 + share**2 + (1 - share) ** 2))
    readings = [(1 - share) * low.reading.u_counts, share * high.reading.u_counts, point.reading.u_counts]
    noise = line.slope * float(np.sqrt(sum(one**2 for one in readings)))
    bend = bend_v * counted / float(np.sqrt(3.0))
    u_v = float(np.sqrt(noise**2 + (meter.u_own * counted) ** 2 + bend**2))
    return Residual(point.volts, line.at(point.reading.counts) - point.volts, u_v, COVERAGE * u_v)


@dataclass(frozen=True)
class Shift:
    """volts: the sensor's ground over the logger's. u_v: standard uncertainty. found: whether it is more than that."""

    volts: float
    u_v: float

    @property
    def found(self) -> bool:
        """Whether it can be told from none."""
        return abs(self.volts) > COVERAGE * self.u_v


def ground_shift(line: Line, converter: Converter, meter: Meter, point: Point) -> Shift:
    """From a voltage that is known against the sensor's ground, read on a calibrated input. Raises DoesNotFit."""
    scale = (1 << line.bits) / (1 << converter.bits)
    volts = line.at(point.reading.counts * scale) - point.volts
    bend = converter.bend_v[1] * abs(line.slope) * (1 << line.bits) / converter.volts / float(np.sqrt(3.0))
    parts = [line.u_at(point.volts), meter.u_common(point.volts), meter.u_own, bend]
    parts.append(abs(line.slope) * scale * point.reading.u_counts)
    shift = Shift(volts, float(np.sqrt(sum(one**2 for one in parts))))
    if abs(volts) > GROUND_MOST_V + COVERAGE * shift.u_v:
        raise DoesNotFit(
            f"the sensor's ground stands {volts * 1000:+.0f} mV off the logger's",
            "its ground wire carries the heater's current, or the logger's own ground has no good contact",
            "mend the ground (hardware/README.md), or use an input that measures a difference: no figure mends this",
        )
    return shift


def shifted(line: Line, shift: Shift) -> Line:
    """The line against the sensor's ground."""
    low, high = line.volts
    u_volts = [float(np.hypot(one, shift.u_v)) for one in line.u_volts]
    return Line(line.counts, (low - shift.volts, high - shift.volts), (u_volts[0], u_volts[1]), line.bits)


def line_of(channel: dict[str, Any], converter: Converter, meter: Meter) -> Line | None:
    """A channel's own calibration, or None where it has none. converter: its own now."""
    told = channel.get("calibration")
    if not told:
        return None
    volts = (float(told["volts"][0]), float(told["volts"][1]))
    u_volts = told.get("u_volts") or [meter.u_common(one) for one in volts]
    counts = (float(told["counts"][0]), float(told["counts"][1]))
    return Line(counts, volts, (float(u_volts[0]), float(u_volts[1])), told.get("bits", converter.bits))
