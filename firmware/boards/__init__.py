"""Which board is this? One module here for each; only they know pins and ports."""

import os
import sys


def name_of(platform, machine):
    """The board's name in logger.json, or "desk", by what the port says of itself: sys.platform and the machine's
    name."""
    if platform == "rp2" and "RP2350" in machine:
        return "rp2350"
    if platform == "rp2" and "RP2040" in machine:
        return "rp2"
    return {"linux": "desk", "darwin": "desk", "esp32": "esp32"}.get(platform, "generic")


def pick():
    """The board object for the machine this runs on."""
    name = name_of(sys.platform, sys.implementation._machine)  # pyright: ignore[reportAttributeAccessIssue]
    if name == "desk":
        if os.getenv("RINGPULL_BENCH"):
            from boards.desk_bench import BenchDesk

            return BenchDesk()
        from boards.desk import DeskBoard

        return DeskBoard()
    if name in ("rp2", "rp2350"):
        from boards.rp2 import Rp2Board

        return Rp2Board(name)
    if name == "esp32":
        from boards.esp32 import Esp32Board

        return Esp32Board()
    from boards.generic import GenericBoard

    return GenericBoard()
