"""Error of a lambda reading through the 0-5 V inputs, drawn 20,000 times over tolerance and temperature.

The networks are linear between their clamps, so the drawing is plain algebra; the tests hold the algebra against
ngspice.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from hardware.circuit import limits
from hardware.circuit.blocks import BY_NAME
from hardware.circuit.stock import STOCK
from shared_math import front_end

RUNS = 20000
LAMBDA_AT_0V, LAMBDA_PER_V = 0.60, 0.16  # a controller that gives 0.60 to 1.40 over 0-5 V
CALIBRATED_V = (1.33, 2.67)  # at the input, in README's two-point calibration

# Worst of all drawn, lambda 0.75 to 1.00, -40 to 85 degC: (block, board) -> as soldered, after two-point calibration at
# 25 degC
WORST_LAMBDA = {
    ("differential", "rp2"): (0.0135, 0.0050),
    ("differential", "esp32"): (0.0190, 0.0080),
    ("analog_5v", "rp2"): (0.0165, 0.0065),
    ("analog_5v", "esp32"): (0.0225, 0.0095),
}


@dataclass(frozen=True)
class Front:
    """An input's own share, one value a logger: pin volts per volt, pin volts without signal, their change when
    warm."""

    gain: np.ndarray
    offset_v: np.ndarray
    gain_per_k: np.ndarray
    offset_v_per_k: np.ndarray
    leak_v: np.ndarray  # pin volts at the hottest, doubling every 10 K up to there
    ground_share: np.ndarray  # pin volts per volt between the grounds

    def pin_v(self, volts, ground_v, degc):
        """Volts at the converter's pin."""
        warmer = degc - front_end.CALIBRATED_AT_DEGC
        leak = self.leak_v * 2.0 ** ((degc - limits.TEMPERATURES_DEGC[-1]) / 10)
        own = self.gain * (1 + self.gain_per_k * warmer) * volts + self.offset_v + self.offset_v_per_k * warmer
        return own + leak + self.ground_share * ground_v


class Draw:
    """Draws RUNS values at a time, evenly within a half-width."""

    def __init__(self, seed: int):
        self.random = np.random.default_rng(seed)

    def within(self, half_width: float) -> np.ndarray:
        return half_width * self.random.uniform(-1, 1, RUNS)


def plain(draw: Draw) -> Front:
    """analog_5v: a divider against the logger's own ground."""
    block, stock = BY_NAME["analog_5v"], STOCK["r"]
    top, bottom = (block.value(ref) * (1 + draw.within(stock.tolerance)) for ref in ("R1", "R2"))
    share = top / (top + bottom)
    drift = share * 1e-6 * (draw.within(stock.tempco_ppm) - draw.within(stock.tempco_ppm))
    leak = draw.within(limits.LEAKAGE_A) * block.value("R3")
    leak = leak + (draw.within(limits.LEAKAGE_A) + draw.within(limits.CLAMP_LEAKAGE_A)) * share * bottom
    gain = bottom / (top + bottom)
    return Front(gain, np.zeros(RUNS), drift, np.zeros(RUNS), leak, gain)


def differential(draw: Draw) -> Front:
    """differential: an op-amp between two dividers, of which the ground's difference passes only what they differ
    by."""
    block, stock = BY_NAME["differential"], STOCK["r_precise"]
    r1, r2, r3, r4, r5, r6 = (block.value(f"R{n}") * (1 + draw.within(stock.tolerance)) for n in range(1, 7))
    lift = 1 + r6 / (r4 + r5)
    gain = r3 / (r1 + r2 + r3) * lift
    offset = draw.within(front_end.OFFSET_V) * lift
    drift = 1e-6 * 2**0.5 * draw.within(stock.tempco_ppm)
    leak = draw.within(limits.CLAMP_LEAKAGE_A) * r3 + draw.within(limits.CLAMP_LEAKAGE_A) * r6
    leak = leak + draw.within(limits.LEAKAGE_A) * block.value("R7")
    leak = leak + draw.within(limits.LEAKAGE_A) * r3 * (r1 + r2) / (r1 + r2 + r3) * lift  # of the pin behind block W0
    return Front(gain, offset, drift, draw.within(limits.OFFSET_V_PER_K) * lift, leak, gain - r6 / (r4 + r5))


_FRONTS = {"analog_5v": plain, "differential": differential}


def nominal_gain() -> float:
    """Pin volts per volt at the input, which both kinds share."""
    block = BY_NAME["analog_5v"]
    return block.value("R2") / (block.value("R1") + block.value("R2"))


def lambda_range(board: str) -> tuple[float, float]:
    """The lambda readings between which that board's converter measures at all."""
    low, high = (v / nominal_gain() for v in limits.CONVERTERS[board].pin_v)
    return LAMBDA_AT_0V + LAMBDA_PER_V * low, LAMBDA_AT_0V + LAMBDA_PER_V * min(high, 5.0)


def errors(name: str, board: str, at_lambda: float, calibrated: bool, seed: int = 20261125) -> np.ndarray:
    """Read minus true lambda of RUNS loggers, each of its own parts and at its own temperature.

    Calibrated: two-point, at 25 degC, against volts that are exact. The converter bends by a draw of its own at each
    point; what is left is that bend, drift, leakage and ground.
    """
    draw = Draw(seed)
    front, converter = _FRONTS[name](draw), limits.CONVERTERS[board]
    reference = 1 + draw.within(converter.reference)
    reference_ppm = draw.within(front_end.REFERENCE_PPM)
    straight = draw.within(converter.error_v - converter.bend_v)
    ground = draw.within(front_end.GROUND_V)
    low, _, high = limits.TEMPERATURES_DEGC
    degc = draw.random.uniform(low, high, RUNS)
    volts = (at_lambda - LAMBDA_AT_0V) / LAMBDA_PER_V

    def told_v(at_v, ground_v, at_degc):
        """What the converter says of its pin, in volts of a true reference."""
        warmer = at_degc - front_end.CALIBRATED_AT_DEGC
        pin = front.pin_v(at_v, ground_v, at_degc) + straight + draw.within(converter.bend_v)
        return pin / (reference * (1 + reference_ppm * 1e-6 * warmer))

    read = told_v(volts, ground, degc)
    if calibrated:
        still = np.full(RUNS, float(front_end.CALIBRATED_AT_DEGC))
        v1, v4 = CALIBRATED_V
        c1, c4 = (told_v(v, np.zeros(RUNS), still) for v in CALIBRATED_V)
        read_v = v1 + (v4 - v1) * (read - c1) / (c4 - c1)
    else:
        read_v = read / nominal_gain()
    return LAMBDA_PER_V * (read_v - volts)
