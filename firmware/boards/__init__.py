"""Which board is this? One module here for each; only they know pins and ports."""

import sys


def pick():
    """The board object for the machine this runs on."""
    if sys.platform == "linux":
        from boards.desk import DeskBoard

        return DeskBoard()
    if sys.platform == "rp2" and "RP2040" in sys.implementation._machine:  # pyright: ignore[reportAttributeAccessIssue]
        from boards.rp2 import Rp2Board

        return Rp2Board()
    if sys.platform == "esp32":
        from boards.esp32 import Esp32Board

        return Esp32Board()
    from boards.generic import GenericBoard

    return GenericBoard()
