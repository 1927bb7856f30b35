"""The packer compiled to machine code: the same bytes as shared_math.packing, many times faster.

Importing this raises SyntaxError on ports without the native emitter; store/packer.py then takes the plain one.
The numbers are those of shared_math.open_block and shared_math.layout; a test holds both to the same bytes.
"""

import micropython

from shared_math import open_block
from shared_math.compat import zeros


@micropython.viper
def admit(state_: ptr32, held: ptr32, row: ptr32, at: int) -> int:
    count = state_[0]
    max_rows = state_[1]
    rows = state_[2]
    if rows >= max_rows:
        return 0
    total = 6 * count
    least = 3 + count
    most = least + count
    low_step = most + count
    high_step = low_step + count
    width = high_step + count
    step_width = width + count
    bound = step_width + count
    growth = bound + 1
    # Short way: no extreme changes, so no width does; a column then grows by one of its widths, whichever is chosen
    c = 0
    if rows > 1 and state_[bound] + state_[growth] <= 3888:
        last = rows - 1
        while c < count:
            value = row[at + c]
            step = value - held[last] + 0x2000000
            if value < state_[least + c] or value > state_[most + c]:
                break
            if step < state_[low_step + c] or step > state_[high_step + c]:
                break
            last += max_rows
            c += 1
        if c == count:
            last = rows
            c = 0
            while c < count:
                held[last] = row[at + c]
                last += max_rows
                c += 1
            state_[bound] += state_[growth]
            state_[2] = rows + 1
            return 1
    c = 0
    while c < count:
        bits = state_[3 + c]
        if rows == 0:
            total += bits
            c += 1
            continue
        value = row[at + c]
        low = state_[least + c]
        high = state_[most + c]
        if value < low:
            low = value
        elif value > high:
            high = value
        step = value - held[c * max_rows + rows - 1] + 0x2000000
        slow = step
        fast = step
        if rows > 1:
            if state_[low_step + c] < slow:
                slow = state_[low_step + c]
            if state_[high_step + c] > fast:
                fast = state_[high_step + c]
        wide = 0
        step_wide = 0
        if rows > 1:
            wide = state_[width + c]
            step_wide = state_[step_width + c]
        while (high - low) >> wide > 0:
            wide += 1
        while (fast - slow) >> step_wide > 0:
            step_wide += 1
        plain = bits + (rows + 1) * wide
        stepped = 2 * bits + 1 + rows * step_wide
        if plain <= stepped:
            total += plain
        else:
            total += stepped
        c += 1
    if total > 3888:
        return 0
    state_[bound] = total
    grows = 0
    c = 0
    while c < count:
        value = row[at + c]
        if rows == 0:
            state_[least + c] = value
            state_[most + c] = value
        else:
            step = value - held[c * max_rows + rows - 1] + 0x2000000
            if rows == 1:
                state_[width + c] = 0
                state_[step_width + c] = 0
            if value < state_[least + c]:
                state_[least + c] = value
            elif value > state_[most + c]:
                state_[most + c] = value
            if rows == 1:
                state_[low_step + c] = step
                state_[high_step + c] = step
            elif step < state_[low_step + c]:
                state_[low_step + c] = step
            elif step > state_[high_step + c]:
                state_[high_step + c] = step
            while (state_[most + c] - state_[least + c]) >> state_[width + c] > 0:
                state_[width + c] += 1
            while (state_[high_step + c] - state_[low_step + c]) >> state_[step_width + c] > 0:
                state_[step_width + c] += 1
            wide = state_[width + c]
            step_wide = state_[step_width + c]
            if wide > step_wide:
                grows += wide
            else:
                grows += step_wide
        held[c * max_rows + rows] = value
        c += 1
    state_[growth] = grows
    state_[2] = rows + 1
    return 1


@micropython.viper
def admit_run(state, held, cells, at: int, stride: int, count: int, span_) -> int:
    span = ptr32(span_)
    row = ptr32(cells)
    packed = ptr32(state)
    done = 0
    while done < count:
        number = row[at]
        if number != span[1] or packed[2] == 0 or number - span[0] >= span[2]:
            break
        marks = at + span[5]
        if row[marks] != span[3] or row[marks + 1] != span[4]:
            break
        if int(admit(state, held, cells, at + 1)) == 0:
            break
        span[1] = number + 1
        at += stride
        done += 1
    return done


@micropython.viper
def put_columns(state: ptr32, held: ptr32, block: ptr8, items: ptr32):
    count = state[0]
    max_rows = state[1]
    rows = state[2]
    least = 3 + count
    low_step = least + 2 * count
    width = least + 4 * count
    # Each column's method, and what stands before the residuals as (number, width)
    filled = 2 * count
    c = 0
    while c < count:
        bits = state[3 + c]
        method = 0
        if rows > 1:
            method = state[width + c]
            step_width = state[width + count + c]
            if bits + 1 + (rows - 1) * step_width < rows * method:
                method = step_width | 0x20
        items[2 * c] = method
        items[2 * c + 1] = 6
        if method & 0x20:
            items[filled] = held[c * max_rows]
            items[filled + 1] = bits
            items[filled + 2] = (state[low_step + c] - 0x2000000) & ((2 << bits) - 1)
            items[filled + 3] = bits + 1
            filled += 4
        else:
            items[filled] = state[least + c]
            items[filled + 1] = bits
            filled += 2
        c += 1
    at = 22
    acc = 0
    have = 0
    n = 0
    while n < filled:
        value = items[n]
        left = items[n + 1]
        n += 2
        while left > 0:
            part = left
            if part > 16:
                part = 16
            acc |= (value & ((1 << part) - 1)) << have
            value >>= part
            have += part
            left -= part
            while have >= 8:
                block[at] = acc & 0xFF
                at += 1
                acc >>= 8
                have -= 8
    c = 0
    while c < count:
        method = items[2 * c]
        wide = method & 0x1F
        n = c * max_rows
        end = n + rows
        reference = state[least + c]
        steps = method & 0x20
        if steps:
            reference = state[low_step + c] - 0x2000000
            n += 1
        c += 1
        if wide == 0:
            n = end
        while n < end:
            value = held[n] - reference
            if steps:
                value -= held[n - 1]
            n += 1
            left = wide
            while left > 0:
                part = left
                if part > 16:
                    part = 16
                acc |= (value & ((1 << part) - 1)) << have
                value >>= part
                have += part
                left -= part
                while have >= 8:
                    block[at] = acc & 0xFF
                    at += 1
                    acc >>= 8
                    have -= 8
    if have:
        block[at] = acc & 0xFF


class ViperPacker(open_block.OpenBlock):
    """Packer with compiled kernels."""

    admit = staticmethod(admit)

    def __init__(self, bits, max_rows):
        open_block.OpenBlock.__init__(self, bits, max_rows)
        self.items = zeros(6 * len(bits))

    def add_run(self, cells, at, stride, count, span):
        """See plain_packer.Packer.add_run."""
        return admit_run(self.state, self.held, cells, at, stride, count, span)

    def put_columns(self, block):
        """Write the payload."""
        put_columns(self.state, self.held, block, self.items)
