"""Rows to packed columns and back.

A packed block holds a bit stream, low bits first: a six-bit descriptor for each column, then each column's
references, then each column's residuals. A column is stored as offsets from its smallest value (frame of
reference) or as its first differences less the smallest difference, whichever takes fewer bits in this block.
"""

from array import array

from shared_math import layout


def bits_needed(span):
    """Bits that hold every number from 0 to `span` (0 for span 0)."""
    bits = 0
    while span:
        bits += 1
        span >>= 1
    return bits


class Packer:
    """Takes rows one by one until a block is full, then writes it. No allocation in `add` and `clear`.

    bits: list of each column's width, 1 to 24. max_rows: rows held at most (one second's worth).
    """

    def __init__(self, bits, max_rows):
        for width in bits:
            if not 1 <= width <= layout.MAX_BITS:
                raise ValueError("column width %d is outside 1 to %d bits" % (width, layout.MAX_BITS))
        count = len(bits)
        self.bits = array("i", bits)
        self.columns = count
        self.max_rows = max_rows
        self.rows = 0
        self.held = array("i", bytearray(4 * count * max_rows))  # column after column
        # Per column: least, greatest, least difference, greatest difference, width of both encodings
        self.least = array("i", bytearray(4 * count))
        self.most = array("i", bytearray(4 * count))
        self.least_step = array("i", bytearray(4 * count))
        self.most_step = array("i", bytearray(4 * count))
        self.width = array("i", bytearray(4 * count))
        self.step_width = array("i", bytearray(4 * count))
        self.fixed = layout.DESCRIPTOR_BITS * count  # bits that do not grow with the rows
        self._out = None
        self._at = 0
        self._acc = 0
        self._filled = 0

    def clear(self):
        """Forget the rows held."""
        self.rows = 0

    def add(self, row, at=0):
        """Take the row that starts at row[at]; True if it was kept, False when the block would overflow.

        After False the row is not part of the block: write the block, clear, and add the row again.
        """
        rows = self.rows
        if rows >= self.max_rows:
            return False
        held = self.held
        max_rows = self.max_rows
        last = rows - 1
        total = self.fixed
        bits = self.bits
        for c in range(self.columns):
            value = row[at + c]
            base = c * max_rows
            held[base + rows] = value
            if rows == 0:
                total += bits[c]
                continue
            low = self.least[c]
            high = self.most[c]
            if rows == 1:
                low = high = held[base]
            if value < low:
                low = value
            elif value > high:
                high = value
            step = value - held[base + last]
            if rows == 1:
                low_step = high_step = step
            else:
                low_step = self.least_step[c]
                high_step = self.most_step[c]
                if step < low_step:
                    low_step = step
                elif step > high_step:
                    high_step = step
            plain = bits[c] + (rows + 1) * bits_needed(high - low)
            stepped = 2 * bits[c] + 1 + rows * bits_needed(high_step - low_step)
            total += plain if plain <= stepped else stepped
            if total > layout.PAYLOAD_BITS:
                return False
        # The row fits: only now do its extremes count
        for c in range(self.columns):
            value = row[at + c]
            if rows == 0:
                self.least[c] = self.most[c] = value
                continue
            if value < self.least[c]:
                self.least[c] = value
            elif value > self.most[c]:
                self.most[c] = value
            step = value - held[c * max_rows + last]
            if rows == 1:
                self.least_step[c] = self.most_step[c] = step
            elif step < self.least_step[c]:
                self.least_step[c] = step
            elif step > self.most_step[c]:
                self.most_step[c] = step
        self.rows = rows + 1
        return True

    def _put(self, value, width):
        """Append `width` (at most 31) bits; in two halves, so that nothing passes 2^30."""
        if width > 16:
            self._put(value & 0xFFFF, 16)
            value >>= 16
            width -= 16
        self._acc |= value << self._filled
        self._filled += width
        while self._filled >= 8:
            self._out[self._at] = self._acc & 0xFF
            self._at += 1
            self._acc >>= 8
            self._filled -= 8

    def write(self, block, first_row, lost):
        """Write header fields and payload of a PACKED block into `block`, started with layout.start_block.

        first_row: number of the first row in the session. lost: rows lost before it. At least one row must be held.
        Sequence, session and CRC are the caller's.
        """
        rows = self.rows
        layout.put32(block, layout.AT_FIRST_ROW, first_row)
        layout.put16(block, layout.AT_ROWS, rows)
        layout.put16(block, layout.AT_LOST, lost if lost < 0xFFFF else 0xFFFF)
        self._out = block
        self._at = layout.AT_PAYLOAD
        self._acc = self._filled = 0
        put = self._put
        bits = self.bits
        for c in range(self.columns):
            width = bits_needed(self.most[c] - self.least[c])
            stepped = False
            if rows > 1:
                step_width = bits_needed(self.most_step[c] - self.least_step[c])
                stepped = bits[c] + 1 + (rows - 1) * step_width < rows * width
                if stepped:
                    width = step_width
            self.width[c] = width
            self.step_width[c] = stepped
            put(width | (layout.DIFFERENCE if stepped else 0), layout.DESCRIPTOR_BITS)
        for c in range(self.columns):
            if self.step_width[c]:
                put(self.held[c * self.max_rows], bits[c])
                put(self.least_step[c] & ((2 << bits[c]) - 1), bits[c] + 1)
            else:
                put(self.least[c], bits[c])
        for c in range(self.columns):
            width = self.width[c]
            if not width:
                continue
            held = self.held
            base = c * self.max_rows
            if self.step_width[c]:
                least = self.least_step[c]
                for r in range(base + 1, base + rows):
                    put(held[r] - held[r - 1] - least, width)
            else:
                least = self.least[c]
                for r in range(base, base + rows):
                    put(held[r] - least, width)
        if self._filled:
            put(0, 8 - self._filled)


def write_plain(block, bits, rows, first_row, lost):
    """Write a PLAIN block: column after column, 2 bytes a value up to 16 bits, 4 bytes above.

    rows: list of sequences, one per row. Raises ValueError when they do not fit (see plain_rows).
    """
    if not 1 <= len(rows) <= plain_rows(bits):
        raise ValueError("%d rows do not fit a plain block of these columns" % len(rows))
    layout.put32(block, layout.AT_FIRST_ROW, first_row)
    layout.put16(block, layout.AT_ROWS, len(rows))
    layout.put16(block, layout.AT_LOST, lost if lost < 0xFFFF else 0xFFFF)
    at = layout.AT_PAYLOAD
    for c in range(len(bits)):
        wide = bits[c] > 16
        for row in rows:
            layout.put16(block, at, row[c] & 0xFFFF)
            at += 2
            if wide:
                layout.put16(block, at, row[c] >> 16)
                at += 2


def plain_rows(bits):
    """How many rows of these column widths a plain block holds."""
    row_bytes = 0
    for width in bits:
        row_bytes += 4 if width > 16 else 2
    return layout.PAYLOAD // row_bytes


class _BitReader:
    def __init__(self, block):
        self.block = block
        self.at = layout.AT_PAYLOAD * 8

    def take(self, width):
        value = 0
        got = 0
        while got < width:
            inside = self.at & 7
            n = min(8 - inside, width - got)
            value |= ((self.block[self.at >> 3] >> inside) & ((1 << n) - 1)) << got
            got += n
            self.at += n
        if self.at > layout.AT_CRC * 8:
            raise ValueError("the packed columns run past the end of the block")
        return value


def unpack(block, bits):
    """The columns of a PACKED or PLAIN block: a list with a list of integers for each column.

    bits: the columns' widths from the setup block. ValueError when the block's own numbers do not add up.
    """
    rows = layout.get16(block, layout.AT_ROWS)
    if rows == 0:
        raise ValueError("a row block without rows")
    if block[layout.AT_KIND] == layout.PLAIN:
        return _unpack_plain(block, bits, rows)
    reader = _BitReader(block)
    descriptors = [reader.take(layout.DESCRIPTOR_BITS) for _ in bits]
    references = []
    for c in range(len(bits)):
        first = reader.take(bits[c])
        least = 0
        if descriptors[c] & layout.DIFFERENCE:
            least = reader.take(bits[c] + 1)
            if least >> bits[c]:
                least -= 2 << bits[c]
        references.append((first, least))
    columns = []
    for c in range(len(bits)):
        width = descriptors[c] & layout.WIDTH_MASK
        first, least = references[c]
        if descriptors[c] & layout.DIFFERENCE:
            column = [first]
            for _ in range(rows - 1):
                column.append(column[-1] + least + reader.take(width))
        else:
            column = [first + reader.take(width) for _ in range(rows)]
        top = 1 << bits[c]
        if min(column) < 0 or max(column) >= top:
            raise ValueError("column %d holds a number that does not fit its %d bits" % (c, bits[c]))
        columns.append(column)
    return columns


def _unpack_plain(block, bits, rows):
    if rows > plain_rows(bits):
        raise ValueError("the plain columns run past the end of the block")
    columns = []
    at = layout.AT_PAYLOAD
    for c in range(len(bits)):
        column = []
        for _ in range(rows):
            value = layout.get16(block, at)
            at += 2
            if bits[c] > 16:
                value |= layout.get16(block, at) << 16
                at += 2
            if value >> bits[c]:
                raise ValueError("column %d holds a number that does not fit its %d bits" % (c, bits[c]))
            column.append(value)
        columns.append(column)
    return columns
