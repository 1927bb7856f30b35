"""The rows of the block that is being filled, with the statistics of each column."""

from shared_math import layout
from shared_math.compat import const, zeros

# State of a packer, an array of integers: these cells, then for each column its bits, least and greatest value, least
# and greatest difference, and the widths of both spans. It is one array so that a compiled kernel gets one pointer.
# Differences have BIAS added, since compiled kernels on 64-bit machines read array cells as unsigned.
COLUMNS = const(0)
MAX_ROWS = const(1)
ROWS = const(2)
AT_BITS = const(3)
OWN = const(2)  # cells after these for a compiled kernel's own use
BIAS = const(0x2000000)


class OpenBlock:
    """Takes rows one by one until a block is full, then writes it.

    bits: list of each column's width, 1 to 24. max_rows: most rows held (those of one second). A subclass adds
    `admit(state, held, row, at)`, which takes a row, and `put_columns(block)`, which writes the payload.
    """

    def __init__(self, bits, max_rows):
        for width in bits:
            if not 1 <= width <= layout.MAX_BITS:
                raise ValueError("column width %d is outside 1 to %d bits" % (width, layout.MAX_BITS))
        count = len(bits)
        self.held = zeros(count * max_rows)  # column after column
        self.state = zeros(AT_BITS + 7 * count + OWN)
        self.state[COLUMNS] = count
        self.state[MAX_ROWS] = max_rows
        for c in range(count):
            self.state[AT_BITS + c] = bits[c]

    @property
    def rows(self):
        """Rows held."""
        return self.state[ROWS]

    def clear(self):
        """Forget the rows held."""
        self.state[ROWS] = 0

    def add(self, row, at=0):
        """Take the row that starts at row[at]. Returns False and takes nothing if the block would overflow.

        Then write the block, clear it, and add the row again.
        """
        return self.admit(self.state, self.held, row, at) == 1  # pyright: ignore[reportAttributeAccessIssue]

    def write(self, block, first_row, lost):
        """Write header fields and payload of a PACKED block into `block`, started with layout.start_block.

        first_row: number of the first row in the session. lost: rows lost before it. At least one row must be held.
        The caller writes sequence, session and CRC.
        """
        layout.put32(block, layout.AT_FIRST_ROW, first_row)
        layout.put16(block, layout.AT_ROWS, self.rows)
        layout.put16(block, layout.AT_LOST, lost if lost < 0xFFFF else 0xFFFF)
        self.put_columns(block)  # pyright: ignore[reportAttributeAccessIssue]
