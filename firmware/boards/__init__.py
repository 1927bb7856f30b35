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
    from boards.generic import GenericBoard

    return GenericBoard()
