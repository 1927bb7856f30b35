"""The RP2040 board's forty pins, counted as its maker does, and what each is joined to on our board.

RP2350 boards of the same shape have the same pins.
"""

from __future__ import annotations

import re

from hardware.circuit.boards import RP2

GROUNDS = (3, 8, 13, 18, 23, 28, 38)
# What the perfboard builds have no use for: GP number, pin. A test holds the first group to firmware/boards/wiring.py
CONVERTER_X = {"x_miso": (8, 11), "x_cs": (9, 12), "x_sck": (10, 14), "x_mosi": (11, 15)}
BUS = {"bus_tx": (20, 26), "bus_rx": (21, 27)}
SPARE = {"gp2": (2, 4), "gp3": (3, 5)}  # the bench fixture's outputs, on test points


def pins() -> dict[int, str]:
    """Pin number -> signal, for every pin that is joined to anything."""
    out = {number: "GND" for number in GROUNDS}
    for signal, (_, pad, _) in RP2.pins.items():
        found = re.search(r"pin (\d+)$", pad)
        if found:
            out[int(found[1])] = signal
    for group in (CONVERTER_X, BUS, SPARE):
        out |= {pin: signal for signal, (_, pin) in group.items()}
    return out
