"""Room for the two large arrays: held while modules load, given back in one piece when the arrays are made."""

import gc

_ROOM = 32768  # row queue and open block of 20 columns at 200 rows a second

_held = []


def hold():
    """Reserve the room, while the heap still has it in one piece."""
    gc.collect()
    _held.append(bytearray(_ROOM))


def release():
    """Give the room back."""
    _held.clear()
    gc.collect()
