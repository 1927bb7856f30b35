"""Uncertainty of a judged lambda, random and systematic apart (in the manner of JCGM 100, the GUM).

Standard uncertainties (one sigma) throughout; what is not configured is a stated assumption.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from ringpull.analysis.drive_state import roles
from ringpull.analysis.drive_state.columns import Columns
from ringpull.said import Said, lam, say
from ringpull.session import Converter
from shared_math import channels as shared_channels

# Stated assumptions; half-widths are of rectangular distributions unless said otherwise.
RESISTOR_TOLERANCE = 0.01
REFERENCE_TOLERANCE = 0.02
GROUND_V = 0.010
CONVERTER_BITS = 12
CONVERTER_V = 3.3
CONTROLLER_LAMBDA = 0.010
USUAL_LAMBDA = 0.85  # where nothing says what is judged
MIXTURE_NOISE = 0.006  # scatter of lambda as the sensor shows it, from cycle to cycle, one sigma
MIXTURE_NOISE_S = 0.080  # the time over which that scatter hangs together


@dataclass(frozen=True)
class Part:
    """One contribution: its name, standard uncertainty in lambda, "random" or "systematic", where it comes from, and
    whether it is only assumed."""

    name: str
    u: float
    kind: str
    source: Said
    assumed: bool = False


@dataclass(frozen=True)
class Budget:
    """The contributions at one lambda, `at_lambda`. `random` is for a single sample, `systematic` shifts every sample
    alike."""

    parts: list[Part] = field(default_factory=list)
    at_lambda: float = USUAL_LAMBDA

    def combined(self, kind: str) -> float:
        """Root sum of squares of the parts of one kind (JCGM 100, equation 10, unit sensitivities, uncorrelated)."""
        return float(np.sqrt(sum(p.u**2 for p in self.parts if p.kind == kind)))

    @property
    def random(self) -> float:
        return self.combined("random")

    @property
    def systematic(self) -> float:
        return self.combined("systematic")


def rectangular(half_width: float) -> float:
    """Standard uncertainty of a rectangular distribution, a / sqrt(3) (JCGM 100, 4.3.7)."""
    return half_width / np.sqrt(3.0)


def divider_u(top_ohm: float, bottom_ohm: float, tolerance: float = RESISTOR_TOLERANCE) -> float:
    """Relative standard uncertainty of a divider's ratio from the tolerance of its two resistors.

    ratio = b / (t + b); d ratio / ratio = t / (t + b) (db/b - dt/t).
    """
    return top_ohm / (top_ohm + bottom_ohm) * np.sqrt(2.0) * rectangular(tolerance)


def line_near(volts: Sequence[float], values: Sequence[float], at: float) -> tuple[float, float]:
    """(value per volt, volts) where a broken line has the value `at`: of the piece that holds it, or the nearest."""
    pieces = list(zip(volts, volts[1:], values, values[1:], strict=False))
    v0, v1, y0, y1 = min(pieces, key=lambda p: max(min(p[2], p[3]) - at, at - max(p[2], p[3]), 0.0))
    slope = (y1 - y0) / (v1 - v0)
    return slope, v0 + (at - y0) / slope if slope else v0


def white_noise(values: np.ndarray) -> float:
    """Standard deviation of white noise of a smooth column from its second differences, robust against jumps."""
    second = np.diff(values, 2)
    second = second[np.isfinite(second)]
    if len(second) < 20:
        return 0.0
    return float(1.4826 * np.median(np.abs(second - np.median(second))) / np.sqrt(6.0))


def budget(columns: Columns, at_lambda: float = USUAL_LAMBDA) -> Budget:
    """The contributions to a lambda reading near `at_lambda`; with several sensors those of the least certain."""
    channels = roles.lambda_channels(columns.config.get("channels", []))
    named = [c for c in channels if c["name"] in columns.banks] or channels
    return max((of_channel(columns, c, at_lambda) for c in named or [None]), key=lambda one: one.systematic)


def of_channel(columns: Columns, channel: dict | None, at_lambda: float = USUAL_LAMBDA) -> Budget:
    """The contributions to one sensor's reading, from configuration, drive and stated assumptions."""
    parts = []
    own = columns.lambda_ if channel is None else columns.banks.get(channel["name"], columns.lambda_)
    noise = white_noise(own)
    parts.append(Part("noise of a sample", noise, "random", say("measured from the drive")))
    over = say(f"assumed, over {MIXTURE_NOISE_S * 1000:.0f} ms")
    parts.append(Part("scatter of the mixture", MIXTURE_NOISE, "random", over, True))
    if channel is None:
        assumed = Part("controller", rectangular(CONTROLLER_LAMBDA), "systematic", say("assumed"), True)
        return Budget([*parts, assumed], at_lambda)
    scale = channel.get("stoich", 14.7) if channel.get("scale") == "afr" else 1.0
    volts, values = channel.get("volts"), channel.get("values")
    slope, at_volts = 0.0, 0.0
    if volts and values:
        slope, at_volts = line_near(volts, [v / scale for v in values], at_lambda)
    top_ohm, bottom_ohm = shared_channels.divider_of(channel)
    converter = columns.converters.get(channel["name"])
    if converter is None:
        step_v = CONVERTER_V / (1 << CONVERTER_BITS) * (top_ohm + bottom_ohm) / bottom_ohm
        converter = Converter(CONVERTER_BITS, step_v, None)
    steps = abs(slope) * converter.step_v / np.sqrt(12.0)
    parts.append(Part("converter steps", steps, "random", say(f"{converter.bits} bit")))
    if converter.error_v:
        bend = abs(slope) * rectangular(converter.error_v)
        known = say("known of this kind of board, told by the logger")
        parts.append(Part("converter's bend", bend, "systematic", known))
    accuracy = channel.get("accuracy")
    within = CONTROLLER_LAMBDA if accuracy is None else accuracy / scale
    how = say("assumed within ", lam(within)) if accuracy is None else say("within ", lam(within), ", configured")
    parts.append(Part("controller", rectangular(within), "systematic", how, accuracy is None))
    if channel.get("calibration"):
        step = say("one step of the converter")
        parts.append(Part("two-point calibration", abs(slope) * rectangular(converter.step_v), "systematic", step))
    else:
        at = abs(slope) * at_volts
        resistors = say(f"resistors of {RESISTOR_TOLERANCE:.0%}")
        parts.append(Part("divider", at * divider_u(top_ohm, bottom_ohm), "systematic", resistors))
        how = say(f"assumed within {REFERENCE_TOLERANCE:.1%}")
        parts.append(Part("reference voltage", at * rectangular(REFERENCE_TOLERANCE), "systematic", how, True))
    difference = "-" in channel.get("input", "")  # against the controller's own ground
    ground_v = GROUND_V * RESISTOR_TOLERANCE if difference else GROUND_V
    how = say(f"assumed within {GROUND_V * 1000:.0f} mV")
    if difference:
        how = say(f"{GROUND_V * 1000:.0f} mV, of which two dividers of {RESISTOR_TOLERANCE:.0%} leave a share")
    parts.append(Part("ground offset", abs(slope) * rectangular(ground_v), "systematic", how, not difference))
    return Budget(parts, at_lambda)


def mean_u(white: float, noise_gain: float, window_s: float, period_s: float, tau_s: float) -> float:
    """Standard uncertainty (random) of lambda, lag undone, averaged over `window_s`.

    white: of a sample; noise_gain: of the inverse. The inverse adds tau times the slope, whose mean over a window is
    tau times the difference of its ends over its length: that comes on top of what a plain mean leaves of the white
    noise and of the scatter, which is a first-order process as the sensor shows it.
    """
    rows = max(1.0, window_s / period_s)
    lags = tau_s / window_s
    inner = white / np.sqrt(rows)
    ends = np.sqrt(2.0) * lags * white / np.sqrt(max(1.0, 0.6 * tau_s / period_s))
    sampled = min(white * noise_gain, float(np.hypot(inner, ends)))
    ratio = window_s / MIXTURE_NOISE_S
    mean = 2.0 / ratio**2 * (ratio - 1.0 + np.exp(-ratio))
    apart = 2.0 * lags**2 * (1.0 - np.exp(-ratio))
    return float(np.hypot(sampled, MIXTURE_NOISE * np.sqrt(mean + apart)))
