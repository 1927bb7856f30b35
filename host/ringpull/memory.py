"""The C library's memory, where it can be set."""

from __future__ import annotations

import sys

TRIM, TOP_PAD, MMAP = -1, -2, -3  # M_TRIM_THRESHOLD, M_TOP_PAD, M_MMAP_THRESHOLD of glibc's malloc.h


def keep_freed() -> None:
    """Let freed arrays be used again instead of going back to the system, which clears every page it gives anew: a tenth
    of the time of a report of an hour (measured). Nothing where the C library is another one."""
    if sys.platform != "linux":
        return
    import ctypes

    try:
        set_option = ctypes.CDLL(None).mallopt
    except (OSError, AttributeError):
        return
    for option, size in ((MMAP, 1 << 25), (TRIM, 1 << 29), (TOP_PAD, 1 << 26)):
        set_option(option, size)
