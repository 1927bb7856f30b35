"""The packer of ports without the native emitter."""

from shared_math import packing
from store.packer import AT_MARK, FIRST_ROW, FLAG, MARK, MOST_ROWS, NEXT_ROW


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
