"""The packer of the main loop: rows straight from the queue, by the fastest kernels that this port can run."""

from shared_math import packing
from shared_math.compat import const

# What is known of the open block, an array of integers
FIRST_ROW = const(0)
NEXT_ROW = const(1)  # the row number that would follow without a hole
MOST_ROWS = const(2)  # from the first one on
MARK = const(3)  # as in the rows so far
FLAG = const(4)
AT_MARK = const(5)  # where the mark stands in a row of the queue, its number being first; the flag follows
SPAN = const(6)


class Packer(packing.Packer):
    """A packing.Packer that takes several rows at once."""

    def add_run(self, cells, at, stride, count, span):
        """Take up to `count` rows from cells[at:] on, `stride` apart; how many were taken.

        Stops before a row that is not simply the next one of the open block: the first of a block, one behind a hole,
        with another mark or flag, too late for the block, or too large for it.
        """
        done = 0
        at_mark = span[AT_MARK]
        while done < count:
            row = cells[at]
            if row != span[NEXT_ROW] or not self.rows or row - span[FIRST_ROW] >= span[MOST_ROWS]:
                break
            if cells[at + at_mark] != span[MARK] or cells[at + at_mark + 1] != span[FLAG]:
                break
            if not self.add(cells, at + 1):
                break
            span[NEXT_ROW] = row + 1
            at += stride
            done += 1
        return done


def make(bits, max_rows):
    """A Packer, with compiled kernels where the port has the native emitter."""
    try:
        from store.viper_packing import ViperPacker
    except (ImportError, SyntaxError, ValueError):
        return Packer(bits, max_rows)
    return ViperPacker(bits, max_rows)
