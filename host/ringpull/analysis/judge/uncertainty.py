"""Uncertainty of a judged lambda, with random and systematic parts kept separate (after JCGM 100, the GUM).

All are standard uncertainties (one sigma); values that are not configured are stated assumptions.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from ringpull.analysis.drive_state import roles
from ringpull.analysis.drive_state.columns import Columns
from ringpull.analysis.judge import input_uncertainty
from ringpull.analysis.judge.input_uncertainty import Part, rectangular
from ringpull.files.configuration import ConfiguredChannel
from ringpull.said import lam, say

# Stated assumptions; half-widths are those of rectangular distributions unless noted.
CONTROLLER_LAMBDA = 0.010
USUAL_LAMBDA = 0.85  # lambda for which the budget is made by default
MIXTURE_NOISE = 0.006  # scatter of lambda as the sensor shows it, from cycle to cycle, one sigma
MIXTURE_NOISE_S = 0.080  # the time over which that scatter is correlated


@dataclass(frozen=True)
class Budget:
    """The contributions at the lambda `at_lambda`. `random` is for a single sample; `systematic` shifts all samples
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


def line_near(volts: Sequence[float], values: Sequence[float], at: float) -> tuple[float, float]:
    """(value per volt, volts) where a piecewise line has the value `at`, on the piece that contains it or is
    nearest."""
    pieces = list(zip(volts, volts[1:], values, values[1:], strict=False))
    v0, v1, y0, y1 = min(pieces, key=lambda p: max(min(p[2], p[3]) - at, at - max(p[2], p[3]), 0.0))
    slope = (y1 - y0) / (v1 - v0)
    return slope, v0 + (at - y0) / slope if slope else v0


def white_noise(values: np.ndarray) -> float:
    """Standard deviation of the white noise of a smooth column, from second differences, robust against jumps."""
    second = np.diff(values, 2)
    second = second[np.isfinite(second)]
    if len(second) < 20:
        return 0.0
    return float(1.4826 * np.median(np.abs(second - np.median(second))) / np.sqrt(6.0))


def budget(columns: Columns, at_lambda: float = USUAL_LAMBDA) -> Budget:
    """The contributions to a lambda reading near `at_lambda`; of several sensors those of the least certain."""
    channels = roles.lambda_channels(columns.config.channels)
    named = [c for c in channels if c.name in columns.banks] or channels
    return max((of_channel(columns, c, at_lambda) for c in named or [None]), key=lambda one: one.systematic)


def of_channel(columns: Columns, channel: ConfiguredChannel | None, at_lambda: float = USUAL_LAMBDA) -> Budget:
    """The contributions to one sensor's reading, from configuration, drive and stated assumptions."""
    parts = []
    own = columns.lambda_ if channel is None else columns.banks.get(channel.name, columns.lambda_)
    noise = white_noise(own)
    parts.append(Part("noise of a sample", noise, "random", say("measured from the drive")))
    over = say(f"assumed, over {MIXTURE_NOISE_S * 1000:.0f} ms")
    parts.append(Part("scatter of the mixture", MIXTURE_NOISE, "random", over, True))
    if channel is None:
        assumed = Part("controller", rectangular(CONTROLLER_LAMBDA), "systematic", say("assumed"), True)
        return Budget([*parts, assumed], at_lambda)
    slope, at_volts = 0.0, 0.0
    if channel.volts and channel.values:
        slope, at_volts = line_near(channel.volts, [v / channel.per_lambda for v in channel.values], at_lambda)
    accuracy = channel.accuracy
    within = CONTROLLER_LAMBDA if accuracy is None else accuracy / channel.per_lambda
    how = say("assumed within ", lam(within)) if accuracy is None else say("within ", lam(within), ", configured")
    parts.append(Part("controller", rectangular(within), "systematic", how, accuracy is None))
    known = columns.converters.get(channel.name)
    parts += input_uncertainty.parts(channel, known, abs(slope), at_volts, columns.config.reference_v)
    return Budget(parts, at_lambda)


def mean_u(white: float, noise_gain: float, window_s: float, period_s: float, tau_s: float) -> float:
    """Random standard uncertainty of lambda with the lag removed, averaged over `window_s`.

    white: white noise of a sample; noise_gain: that of the inverse. The inverse adds tau times the slope, whose mean
    over a window is tau times the difference of its ends over its length. This adds to the white noise and the scatter
    that remain in a plain mean; the scatter is a first-order process, as the sensor shows it.
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
