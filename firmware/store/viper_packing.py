"""The packer's two kernels compiled to machine code: the same bytes as shared_math.packing, many times faster.

Importing this raises SyntaxError on ports without the native emitter; store/packer.py then stays with the plain ones.
The numbers are those of shared_math.packing and shared_math.layout; a test holds both kernels to the same bytes.
"""

import micropython

from shared_math import packing


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
        held[c * max_rows + rows] = value
        c += 1
    state_[2] = rows + 1
    return 1


@micropython.viper
def put_run(values: ptr32, block: ptr8, stream: ptr32, first: int):
    at = stream[0]
    acc = stream[1]
    filled = stream[2]
    end = stream[3]
    reference = stream[4]
    width = stream[5]
    while first < end:
        value = values[first] - reference
        if stream[6]:
            value += 0x2000000 - values[first - 1]
        first += 1
        left = width
        while left > 0:
            part = left
            if part > 16:
                part = 16
            acc |= (value & ((1 << part) - 1)) << filled
            value >>= part
            filled += part
            left -= part
            while filled >= 8:
                block[at] = acc & 0xFF
                at += 1
                acc >>= 8
                filled -= 8
    stream[0] = at
    stream[1] = acc
    stream[2] = filled


class ViperPacker(packing.Packer):
    """Packer with compiled kernels."""

    admit = staticmethod(admit)
    run = staticmethod(put_run)
