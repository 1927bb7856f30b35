"""Error of a lambda reading through the 0-5 V input, drawn 1,000 times over tolerance and temperature.

The network is linear between its clamps, so the drawing is plain algebra; the tests hold the algebra against ngspice.
"""

from __future__ import annotations

import numpy as np

from hardware.circuit import limits
from hardware.circuit.blocks import BY_NAME
from hardware.circuit.stock import STOCK

RUNS = 1000
LAMBDA_AT_0V, LAMBDA_PER_V = 0.60, 0.16  # a controller that gives 0.60 to 1.40 over 0-5 V
WORST_LAMBDA = 0.0125  # between 0.75 and 1.00, -40 to 85 degC, as soldered
WORST_LAMBDA_CALIBRATED = 0.0045  # the same after two-point calibration at 25 degC

RESISTOR = STOCK["r"]
_COUNTS = 4096
_REFERENCE_V = 3.3


def errors(at_lambda: float, calibrated: bool, seed: int = 20261125) -> np.ndarray:
    """Read minus true lambda of RUNS loggers, each of its own parts and at its own temperature.

    calibrated: two-point, at 25 degC, with 1.0 and 4.0 V at the terminal; what is left is drift, leakage and ground.
    """
    random = np.random.default_rng(seed)
    block = BY_NAME["analog_5v"]

    def within(half_width):
        return half_width * random.uniform(-1, 1, RUNS)

    top = block.value("R1") * (1 + within(RESISTOR.tolerance))
    bottom = block.value("R2") * (1 + within(RESISTOR.tolerance))
    top_ppm, bottom_ppm = within(RESISTOR.tempco_ppm), within(RESISTOR.tempco_ppm)
    reference = _REFERENCE_V * (1 + within(limits.REFERENCE_TOLERANCE))
    reference_ppm = within(limits.REFERENCE_PPM)
    bends = within(limits.CONVERTER_COUNTS)
    leakage = within(limits.LEAKAGE_A)
    ground = within(limits.GROUND_V)
    low, _, high = limits.TEMPERATURES_DEGC
    degc = random.uniform(low, high, RUNS)

    def counts(volts, warmer, hot):
        t, b = top * (1 + top_ppm * 1e-6 * warmer), bottom * (1 + bottom_ppm * 1e-6 * warmer)
        pin = volts * b / (t + b) + hot * leakage * (t * b / (t + b) + block.value("R3"))
        return pin / (reference * (1 + reference_ppm * 1e-6 * warmer)) * _COUNTS + bends

    volts = (at_lambda - LAMBDA_AT_0V) / LAMBDA_PER_V
    read = counts(volts + ground, degc - limits.CALIBRATED_AT_DEGC, 2.0 ** ((degc - high) / 10))
    if calibrated:
        c1, c4 = counts(1.0, 0.0, 0.0), counts(4.0, 0.0, 0.0)
        read_v = 1.0 + 3.0 * (read - c1) / (c4 - c1)
    else:
        ratio = block.value("R2") / (block.value("R1") + block.value("R2"))
        read_v = read / _COUNTS * _REFERENCE_V / ratio
    return LAMBDA_PER_V * (read_v - volts)
