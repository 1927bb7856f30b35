"""Unpacks the packed or plain columns of a block; packing.py describes their layout."""

from shared_math import layout


def plain_rows(bits):
    """The number of rows of these column widths in a plain block."""
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
    """The columns of a PACKED or PLAIN block: a list of integers for each column.

    bits: the columns' widths from the setup block. Raises ValueError if the block is inconsistent.
    """
    rows = layout.get16(block, layout.AT_ROWS) & layout.ROWS_MASK
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
