"""The packer of the main loop: rows straight from the queue, by the fastest kernels that this port can run."""

from shared_math.compat import const

# What is known of the open block, an array of integers
FIRST_ROW = const(0)
NEXT_ROW = const(1)  # the row number that would follow without a hole
MOST_ROWS = const(2)  # from the first one on
MARK = const(3)  # as in the rows so far
FLAG = const(4)
AT_MARK = const(5)  # where the mark stands in a row of the queue, its number being first; the flag follows
SPAN = const(6)


def kind():
    """The packer's class: with compiled kernels where the port has the native emitter."""
    try:
        from store.viper_packing import ViperPacker
    except (ImportError, SyntaxError, ValueError):
        from store.plain_packer import Packer

        return Packer
    return ViperPacker
