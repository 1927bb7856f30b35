"""Faults of a lambda controller's ground core, where a second input measures the signal wire."""

from __future__ import annotations

import numpy as np

from truth.wired import Wired

WIRE = {
    "name": "lambda_1_wire",
    "input": "x2",
    "kind": "linear",
    "unit": "V",
    "volts": [0, 8],
    "values": [0, 8],
    "divider": {"top_ohm": 16800, "bottom_ohm": 10000},
    "checks": "lambda_1",
}
BROKEN, TOUCHING = 0.627, 1.25  # of the signal wire's volts that lambda's input then has


def measured(wired: Wired, grounds_v: np.ndarray | float = 0.0, bank: str = "lambda_1") -> None:
    """The signal wire of a bank on a second input. grounds_v: of the controller, above the logger's own."""
    wired.config["channels"].append(WIRE | {"checks": bank})
    wired.volts[WIRE["name"]] = wired.volts[bank] + grounds_v


def lost(wired: Wired, share: float, start_s: float = 0.0, end_s: float = np.inf, bank: str = "lambda_1") -> None:
    """Lambda's input has a share of the signal wire's volts."""
    rows = wired.rows(start_s, end_s)
    wired.volts[bank][rows] = np.clip(share * wired.volts[WIRE["name"]][rows], 0.0, 5.0)


def sound(wired: Wired, rng: np.random.Generator) -> None:
    """A difference of the grounds by chance, and nothing else."""
    measured(wired, rng.uniform(-0.1, 0.2))


def core(share: float, before_s: float = np.inf, after_s: float = np.inf):
    """From so long before the hole to so long after it, all along unless told."""

    def apply(wired: Wired, rng: np.random.Generator) -> None:
        sound(wired, rng)
        start_s, end_s = wired.hole_s
        lost(wired, share, start_s - before_s, end_s + after_s)

    return apply


# Name, kind, fault, channels of which one must be named, whether the drive holds evidence
GROUND_CORE = (
    ("sound grounds, wire measured", "none", sound, (), False),
    ("ground core broken, wire measured", "wiring", core(BROKEN), ("lambda_1",), True),
    ("ground core breaks before the hole, wire measured", "wiring", core(BROKEN, 1.0), ("lambda_1",), True),
    ("ground core loose over the hole, wire measured", "wiring", core(BROKEN, 0.5, 0.5), ("lambda_1",), True),
    ("ground core on ground, wire measured", "wiring", core(TOUCHING), ("lambda_1",), True),
    ("ground core loses a tenth, wire measured", "wiring", core(0.9), ("lambda_1",), True),
)
