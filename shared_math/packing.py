"""Packs rows into columns of bits.

A packed block holds a bit stream, low bits first: a six-bit descriptor for each column, then each column's
references, then each column's residuals. A column is stored as offsets from its smallest value (frame of reference)
or as first differences minus the smallest difference, whichever takes fewer bits in this block.
"""

from array import array

from shared_math import layout, open_block
from shared_math.compat import const, zeros
from shared_math.open_block import AT_BITS, BIAS, COLUMNS, MAX_ROWS, ROWS

# State of the bit stream being written
NEXT_BYTE = const(0)
PENDING = const(1)
HOW_MANY = const(2)
END = const(3)  # of the values
REFERENCE = const(4)
WIDTH = const(5)
STEPS = const(6)  # 1: write differences
STREAM = const(7)


def admit(state, held, row, at):
    """Take the row at row[at:] into `held` if the block still fits; returns 1 if taken, else 0. Allocates nothing."""
    count = state[COLUMNS]
    max_rows = state[MAX_ROWS]
    rows = state[ROWS]
    if rows >= max_rows:
        return 0
    total = layout.DESCRIPTOR_BITS * count
    least = AT_BITS + count
    most = least + count
    low_step = most + count
    high_step = low_step + count
    width = high_step + count
    step_width = width + count
    for c in range(count):
        bits = state[AT_BITS + c]
        if rows == 0:
            total += bits
            continue
        value = row[at + c]
        low = state[least + c]
        high = state[most + c]
        if value < low:
            low = value
        elif value > high:
            high = value
        step = value - held[c * max_rows + rows - 1] + BIAS
        slow = fast = step
        wide = step_wide = 0
        if rows > 1:
            slow = min(step, state[low_step + c])
            fast = max(step, state[high_step + c])
            wide = state[width + c]
            step_wide = state[step_width + c]
        while (high - low) >> wide:
            wide += 1
        while (fast - slow) >> step_wide:
            step_wide += 1
        plain = bits + (rows + 1) * wide
        stepped = 2 * bits + 1 + rows * step_wide
        total += plain if plain <= stepped else stepped
    if total > layout.PAYLOAD_BITS:
        return 0
    # the row fits: only now update the extremes
    for c in range(count):
        value = row[at + c]
        if rows == 0:
            state[least + c] = state[most + c] = value
        else:
            step = value - held[c * max_rows + rows - 1] + BIAS
            if value < state[least + c]:
                state[least + c] = value
            elif value > state[most + c]:
                state[most + c] = value
            if rows == 1:
                state[low_step + c] = state[high_step + c] = step
                state[width + c] = state[step_width + c] = 0
            elif step < state[low_step + c]:
                state[low_step + c] = step
            elif step > state[high_step + c]:
                state[high_step + c] = step
            while (state[most + c] - state[least + c]) >> state[width + c]:
                state[width + c] += 1
            while (state[high_step + c] - state[low_step + c]) >> state[step_width + c]:
                state[step_width + c] += 1
        held[c * max_rows + rows] = value
    state[ROWS] = rows + 1
    return 1


def put_run(values, block, stream, first):
    """Append values[first:end] (or their differences) minus the reference, in `width` bits each."""
    at = stream[NEXT_BYTE]
    acc = stream[PENDING]
    filled = stream[HOW_MANY]
    reference = stream[REFERENCE]
    steps = stream[STEPS]
    for r in range(first, stream[END]):
        value = values[r] - reference
        if steps:
            value += BIAS - values[r - 1]
        left = stream[WIDTH]
        while left > 0:
            part = 16 if left > 16 else left  # in halves, so that no number exceeds 2^30
            acc |= (value & ((1 << part) - 1)) << filled
            value >>= part
            filled += part
            left -= part
            while filled >= 8:
                block[at] = acc & 0xFF
                at += 1
                acc >>= 8
                filled -= 8
    stream[NEXT_BYTE] = at
    stream[PENDING] = acc
    stream[HOW_MANY] = filled


class Packer(open_block.OpenBlock):
    """An OpenBlock with kernels in plain Python; firmware/store/viper_packing.py has compiled ones."""

    admit = staticmethod(admit)

    def __init__(self, bits, max_rows):
        open_block.OpenBlock.__init__(self, bits, max_rows)
        self.stream = zeros(STREAM)
        self.methods = zeros(len(bits))
        self.one = array("i", bytes(4))

    def put_columns(self, block):
        """Write the payload."""
        stream = self.stream
        stream[NEXT_BYTE] = layout.AT_PAYLOAD
        stream[PENDING] = stream[HOW_MANY] = 0
        self._choose()
        self._put_values(self.methods, block, self.state[COLUMNS], layout.DESCRIPTOR_BITS)
        self._put_references(block)
        self._put_residuals(block)
        if stream[HOW_MANY]:
            self._put_one(0, block, 8 - stream[HOW_MANY])

    def _choose(self):
        """Choose each column's method and width: the one with fewer bits, or frame of reference if equal."""
        state = self.state
        count = state[COLUMNS]
        rows = state[ROWS]
        widths = AT_BITS + 5 * count
        for c in range(count):
            width = state[widths + c] if rows > 1 else 0
            method = width
            if rows > 1:
                step_width = state[widths + count + c]
                if state[AT_BITS + c] + 1 + (rows - 1) * step_width < rows * width:
                    method = step_width | layout.DIFFERENCE
            self.methods[c] = method

    def _put_values(self, values, block, count, width):
        stream = self.stream
        stream[END] = count
        stream[REFERENCE] = stream[STEPS] = 0
        stream[WIDTH] = width
        put_run(values, block, stream, 0)

    def _put_one(self, value, block, width):
        self.one[0] = value
        self._put_values(self.one, block, 1, width)

    def _put_references(self, block):
        state = self.state
        count = state[COLUMNS]
        least = AT_BITS + count
        for c in range(count):
            bits = state[AT_BITS + c]
            if self.methods[c] & layout.DIFFERENCE:
                self._put_one(self.held[c * state[MAX_ROWS]], block, bits)
                self._put_one((state[least + 2 * count + c] - BIAS) & ((2 << bits) - 1), block, bits + 1)
            else:
                self._put_one(state[least + c], block, bits)

    def _put_residuals(self, block):
        state = self.state
        stream = self.stream
        count = state[COLUMNS]
        rows = state[ROWS]
        for c in range(count):
            width = self.methods[c] & layout.WIDTH_MASK
            if not width:
                continue
            base = c * state[MAX_ROWS]
            stream[END] = base + rows
            stream[WIDTH] = width
            if self.methods[c] & layout.DIFFERENCE:
                stream[STEPS] = 1
                stream[REFERENCE] = state[AT_BITS + 3 * count + c]
                put_run(self.held, block, stream, base + 1)
            else:
                stream[STEPS] = 0
                stream[REFERENCE] = state[AT_BITS + count + c]
                put_run(self.held, block, stream, base)
