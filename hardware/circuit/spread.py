"""Clamp transistors that are not alike: how far from each other, and which way.

The spread is a mismatch of base-emitter voltage, as a ratio of saturation currents. What the transistors of one
differential input have in common cancels in its op-amp; this does not.
"""

from __future__ import annotations

import math

from hardware.circuit.model import Part

MISMATCH_V = 0.010  # between two of one type out of one bag, at the same current (common practice, no source)
CARRIES_A = 1e-7  # through 4 kohm 0.4 mV: below, no reading moves
_THERMAL_V = 0.02585  # kT/q at 27 degC, at which ngspice runs
_BASES = ("VCH", "VCL")


def is_clamp(part: Part) -> bool:
    """Whether it is one of the inputs' clamp transistors."""
    return part.stock in ("npn_small", "pnp_small") and part.pins["b"] in _BASES


def area(part: Part, down: float) -> float:
    """Its saturation current against the model's. down: 1 where all clamps pull readings down, -1 up, 0 alike."""
    minus = "M" in part.pins.values()  # on the side that is subtracted
    weaker = (part.stock == "npn_small") != minus
    return math.exp((-down if weaker else down) * MISMATCH_V / 2 / _THERMAL_V)
