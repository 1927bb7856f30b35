"""Which board is this? One module here for each; only they know pins and ports."""

import sys


def pick():
    """The board object for the machine this runs on."""
    if sys.platform == "linux":
        from boards.desk import DeskBoard

        return DeskBoard()
    from boards.generic import GenericBoard

    return GenericBoard()
