"""The RP2040 board's forty pins, counted as its maker does, and what each is joined to on our board.

RP2350 boards of the same shape have the same pins.
"""

from __future__ import annotations

import re

from hardware.circuit.boards import RP2

GROUNDS = (3, 8, 13, 18, 23, 28, 38)
SPARE = {"gp2": (2, 4), "gp3": (3, 5)}  # the bench fixture's outputs, on test points


def pins() -> dict[int, str]:
    """Pin number -> signal, for every pin that is joined to anything."""
    out = {number: "GND" for number in GROUNDS}
    for signal, (_, pad, _) in RP2.pins.items():
        found = re.search(r"pin (\d+)$", pad)
        if found:
            out[int(found[1])] = signal
    return out | {pin: signal for signal, (_, pin) in SPARE.items()}
