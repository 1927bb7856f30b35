"""All readings of one SPI converter for a row in one go, compiled: its frames straight to the RP2's SPI registers.

By `drivers/mcp33.py` a reading takes some 70 us of the processor, of which its 24 clocks are 24.
"""

from array import array

import micropython

from shared_math.compat import const

# What `put` needs, in one array of integers
_PIN = const(0)  # the select pin's bit
_NULL = const(1)  # the bit of the second byte that is low where a converter answers
_SIGNED = const(2)
_TOP = const(3)  # counts where nothing answers
_ABSENT = const(4)  # a null bit was missing
_ALIVE = const(5)  # a reading other than 0 came
_COUNT = const(6)
_ENTRIES = const(7)  # place in the row, first byte, second byte of each
_FILLED = const(4)  # of the status: something was received
_LOOKS = const(2000)  # at the status, some 0.4 ms: a frame takes 24 us


class Frames:
    """registers: (write, read, status, pins high, pins low), addresses or buffers. pin: number of the select pin.

    null, top: see above. signed: counts are stored with 4096 added. frames: (place, bytes asked) for each reading, the
    place counted from the row's first column.
    """

    def __init__(self, registers, pin, null, top, signed, frames):
        numbers = [1 << pin, null, 0x1000 if signed else 0, top, 0, 0, len(frames)]
        for place, ask in frames:
            numbers += [place, ask[0], ask[1]]
        self.state = array("i", numbers)
        self.write, self.read, self.status, self.high, self.low = registers

    def seen(self):
        """(whether a null bit was missing, whether a reading other than 0 came) since the last call."""
        state = self.state
        seen = state[_ABSENT] != 0, state[_ALIVE] != 0
        state[_ABSENT] = state[_ALIVE] = 0
        return seen

    @micropython.viper
    def put(self, row: ptr32, at: int, _grid: int) -> bool:
        """Write the counts of now to row[at + place] of each reading. Always known: returns True."""
        s = ptr32(self.state)
        write = ptr32(self.write)
        read = ptr32(self.read)
        status = ptr32(self.status)
        high = ptr32(self.high)
        low = ptr32(self.low)
        entry = _ENTRIES
        end = _ENTRIES + 3 * s[_COUNT]
        while entry < end:
            low[0] = s[_PIN]
            write[0] = s[entry + 1]
            write[0] = s[entry + 2]
            write[0] = 0
            counts = 0
            left = 3
            looks = _LOOKS
            while left > 0 and looks > 0:
                if status[0] & _FILLED:
                    counts = counts << 8 | read[0] & 0xFF
                    left -= 1
                else:
                    looks -= 1
            high[0] = s[_PIN]
            null = s[_NULL]
            if left > 0 or counts & null << 8:
                s[_ABSENT] = 1
                counts = s[_TOP]
            else:
                counts &= (null << 8) - 1
                if counts:
                    s[_ALIVE] = 1
                counts ^= s[_SIGNED]
            row[at + s[entry]] = counts
            entry += 3
        return True
