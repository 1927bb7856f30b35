"""The logger's part of the uncertainty of a lambda reading: converter, front end, reference and grounds.

The figures are in shared_math/front_end.py, which the drawing of the circuit's accuracy uses as well.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ringpull.files.configuration import ConfiguredChannel
from ringpull.said import Figure, Said, say
from ringpull.session import Converter
from shared_math import front_end

CONVERTER_BITS = 12


@dataclass(frozen=True)
class Part:
    """One contribution: name, standard uncertainty in lambda, "random" or "systematic", source, and whether it is only
    assumed."""

    name: str
    u: float
    kind: str
    source: Said
    assumed: bool = False


def rectangular(half_width: float) -> float:
    """Standard uncertainty of a rectangular distribution, a / sqrt(3) (JCGM 100, 4.3.7)."""
    return half_width / np.sqrt(3.0)


def divider_u(
    top_ohm: float, bottom_ohm: float, tolerance: float = front_end.RESISTOR_TOLERANCE[front_end.PLAIN]
) -> float:
    """Relative standard uncertainty of a divider's ratio from the tolerance of its two resistors.

    ratio = b / (t + b); d ratio / ratio = t / (t + b) (db/b - dt/t).
    """
    return top_ohm / (top_ohm + bottom_ohm) * np.sqrt(2.0) * rectangular(tolerance)


def differential_u(top_ohm: float, bottom_ohm: float, tolerance: float) -> tuple[float, float]:
    """Relative standard uncertainties of a differential input from the tolerance of its resistors: (of its gain, of the
    share of the grounds' difference that it passes).

    Each side is a divider of t = top + bottom, two resistors, over b = bottom: gain = b / (t + b) * (1 + b' / t').
    """
    t, b = top_ohm + bottom_ohm, bottom_ohm
    own = rectangular(tolerance) * np.sqrt(1.0 + (top_ohm**2 + bottom_ohm**2) / t**2)
    return float(own * np.hypot(t, b) / (t + b)), float(own * np.sqrt(2.0) * t / (t + b))


def warmer_k() -> float:
    """Root mean square of the logger's difference in temperature from its calibration."""
    low, high = (one - front_end.CALIBRATED_AT_DEGC for one in front_end.TEMPERATURES_DEGC)
    return float(np.sqrt((high**3 - low**3) / (3.0 * (high - low))))


def between(at_volts: float, points: tuple[float, float]) -> float:
    """The factor on an error that is independent at a reading and at both points of a calibration, in the remaining
    error after calibration (root sum of squares)."""
    share = (at_volts - points[0]) / (points[1] - points[0])
    return float(np.sqrt(1.0 + (1.0 - share) ** 2 + share**2))


def line_u(u_volts: Sequence[float], volts: Sequence[float], at: float) -> float:
    """Standard uncertainty at `at` volts of a line through two points with these: the larger of what their errors make
    when they are one and the same, and when they are apart, since what is kept does not tell."""
    share = (at - volts[0]) / (volts[1] - volts[0])
    first, second = (1 - share) * u_volts[0], share * u_volts[1]
    return float(max(abs(first + second), np.hypot(first, second)))


def converter_of(channel: ConfiguredChannel, known: Converter | None, reference_v: float) -> Converter:
    """The channel's converter from the ring file, else the usual one."""
    if known is not None:
        return known
    top_ohm, bottom_ohm = channel.divider_ohm
    return Converter(CONVERTER_BITS, reference_v / (1 << CONVERTER_BITS) * (top_ohm + bottom_ohm) / bottom_ohm, None)


def parts(
    channel: ConfiguredChannel, known: Converter | None, per_volt: float, at_volts: float, reference_v: float | None
):
    """The contributions of one channel's input.

    per_volt: lambda per volt. at_volts: volts of the reading. reference_v: as configured; None if the board's supply is
    the reference.
    """
    converter = converter_of(channel, known, reference_v or front_end.REFERENCE_V)
    front, calibration = channel.front, channel.calibration
    points = None if calibration is None else calibration.volts
    counted = between(at_volts, points) if points else 1.0
    steps = per_volt * converter.step_v / np.sqrt(12.0)
    out = [Part("converter steps", steps, "random", say(f"{converter.bits} bit"))]
    if converter.error_v:
        bend = per_volt * rectangular(converter.error_v) * counted
        told = say("known for this kind of board, recorded by the logger")
        out.append(Part("converter's bend", bend, "systematic", told))
    if calibration is not None and points is not None:
        if calibration.u_volts:
            of_line = per_volt * line_u(calibration.u_volts, points, at_volts)
            out.append(Part("two-point calibration", of_line, "systematic", say("told with the calibration")))
            return [*out, *_always(channel, front, per_volt, at_volts)]
        step = per_volt * rectangular(converter.step_v) * counted
        out.append(Part("two-point calibration", step, "systematic", say("one step of the converter")))
        meter = per_volt * at_volts * rectangular(front_end.MULTIMETER)
        how = say(f"assumed within {front_end.MULTIMETER:.1%}")
        out.append(Part("multimeter of the calibration", meter, "systematic", how, True))
    else:
        out += _uncalibrated(channel, front, per_volt, at_volts, reference_v)
    return [*out, *_always(channel, front, per_volt, at_volts)]


def _always(channel: ConfiguredChannel, front: str, per_volt: float, at_volts: float) -> list[Part]:
    """What no calibration takes away."""
    ppm = front_end.RESISTOR_PPM[front] * 1e-6
    of_divider = _gain_u(channel, front, ppm)
    drift = per_volt * at_volts * warmer_k() * float(np.hypot(rectangular(front_end.REFERENCE_PPM * 1e-6), of_divider))
    low, high = (Figure(degc, "temperature", 0) for degc in front_end.TEMPERATURES_DEGC)
    how = say("reference and resistors, assumed between ", low, " and ", high)
    return [Part("drift with temperature", drift, "systematic", how, True), _ground(channel, front, per_volt)]


def _gain_u(channel: ConfiguredChannel, front: str, tolerance: float) -> float:
    resistors = channel.divider_ohm
    if front == front_end.DIFFERENTIAL:
        return differential_u(*resistors, tolerance)[0]
    return divider_u(*resistors, tolerance)


def _uncalibrated(
    channel: ConfiguredChannel, front: str, per_volt: float, at_volts: float, reference_v: float | None
) -> list[Part]:
    """The contributions that a two-point calibration would remove."""
    tolerance = front_end.RESISTOR_TOLERANCE[front]
    gain = per_volt * at_volts * _gain_u(channel, front, tolerance)
    out = [Part("divider", gain, "systematic", say(f"resistors of {tolerance:.1%}"))]
    within = front_end.FITTED_REFERENCE_TOLERANCE if reference_v else front_end.REFERENCE_TOLERANCE
    reference = per_volt * at_volts * rectangular(within)
    out.append(Part("reference voltage", reference, "systematic", say(f"assumed within {within:.1%}"), True))
    if front == front_end.DIFFERENTIAL:
        top_ohm, bottom_ohm = channel.divider_ohm
        lifted_v = front_end.OFFSET_V * ((top_ohm + bottom_ohm) / bottom_ohm + 1.0)
        how = say(f"assumed within {front_end.OFFSET_V * 1000:.1f} mV at its input")
        out.append(Part("amplifier's offset", per_volt * rectangular(lifted_v), "systematic", how, True))
    return out


def _ground(channel: ConfiguredChannel, front: str, per_volt: float) -> Part:
    """The contribution of the offset between the sensor's ground and the logger's; a differential input passes only the
    mismatch of its two sides."""
    ground = per_volt * rectangular(front_end.GROUND_V)
    if front != front_end.DIFFERENTIAL and "-" not in channel.input:
        return Part(
            "ground offset", ground, "systematic", say(f"assumed within {front_end.GROUND_V * 1000:.0f} mV"), True
        )
    tolerance = front_end.RESISTOR_TOLERANCE[front]
    how = say(f"{front_end.GROUND_V * 1000:.0f} mV, of which two dividers of {tolerance:.1%} leave a share")
    resistors = channel.divider_ohm
    if front == front_end.DIFFERENTIAL:
        passed = differential_u(*resistors, tolerance)[1]
    else:
        passed = np.sqrt(2.0) * divider_u(*resistors, tolerance)
    return Part("ground offset", ground * passed, "systematic", how)
