"""Edges that DMA has put into a ring in RAM, walked by the row path: the same columns as acquire/tach.py, compiled.

All times here are clock cycles that wrap at 2^30, so that no number becomes a heap object; at 125 MHz that is 8.6 s, at
150 MHz 7.2 s, and edges are looked at in every row. The masks below are dma_ring.MOST and the widths of
shared_math.layout.
"""

from array import array

import micropython

POSITION = 0  # words read so far, wraps as the DMA's counter does
WORDS = 1  # in the ring
CYCLES_PER_US = 2
LIMIT = 3  # an edge sooner than so many cycles after the last accepted one is refused
TICK = 4  # the grid tick of the last row, microseconds
GRID = 5  # the same in cycles since the start
LAST = 6  # last accepted edge, cycles since the start
COUNT = 7
REJECTED = 8
ASLEEP = 9  # 1: no edge for so long that differences mean nothing
STOOD = 10  # cycles the counter stood for the edges so far


@micropython.viper
def go(control: ptr32, bit: int, timer: ptr32) -> int:
    control[0] = bit
    return timer[0] & 0x3FFFFFFF


class EdgeRing:
    """ring: buffer of stamps. left: the DMA's transfer counter, a buffer or an address. start: tick of cycle 0."""

    def __init__(self, ring, left, limit_us, cycles_per_us, edge_cycles, start):
        self.ring = ring
        self.left = left
        self.edge_cycles = edge_cycles
        self.state = array("i", bytes(4 * 11))
        self.state[WORDS] = len(ring) // 4
        self.state[CYCLES_PER_US] = cycles_per_us
        self.state[LIMIT] = limit_us * cycles_per_us
        self.state[TICK] = start
        self.state[ASLEEP] = 1

    @property
    def rejected(self):
        """Edges refused so far, wraps as the column does."""
        return self.state[REJECTED]

    @micropython.viper
    def forget(self):
        """Recording begins: edges stamped so far are nobody's."""
        s = ptr32(self.state)
        left = ptr32(self.left)
        new = (0 - left[0] - s[0]) & 0x7FFFFFF
        s[0] = (s[0] + new) & 0x7FFFFFF
        s[10] = (s[10] + new * int(self.edge_cycles)) & 0x3FFFFFFF

    @micropython.viper
    def put(self, row: ptr32, at: int, grid: int) -> bool:
        """Write count, age and rejected as they stood at tick `grid` to row[at:at+3]. Always known: returns True.

        Edges that the ring lost, because no row was taken for too long, are counted as rejected.
        """
        s = ptr32(self.state)
        ring = ptr32(self.ring)
        left = ptr32(self.left)
        stood = int(self.edge_cycles)
        rate = s[2]
        words = s[1]
        now = (s[5] + rate * ((grid - s[4]) & 0x3FFFFFFF)) & 0x3FFFFFFF
        s[4] = grid
        s[5] = now
        new = (0 - left[0] - s[0]) & 0x7FFFFFF
        if new > words - 16:  # the DMA may write while the oldest are read
            lost = new - words + 16
            new -= lost
            s[0] = (s[0] + lost) & 0x7FFFFFF
            s[10] = (s[10] + lost * stood) & 0x3FFFFFFF
            s[8] = (s[8] + lost) & 0xFFFF
            s[9] = 1
        while new > 0:
            edge = (2 * ring[s[0] & (words - 1)] + s[10]) & 0x3FFFFFFF
            if (now - edge) & 0x20000000:  # after the row's instant: the next row's
                break
            new -= 1
            s[0] = (s[0] + 1) & 0x7FFFFFF
            s[10] = (s[10] + stood) & 0x3FFFFFFF
            if s[9] == 0 and (edge - s[6]) & 0x3FFFFFFF < s[3]:
                s[8] = (s[8] + 1) & 0xFFFF
            else:
                s[6] = edge
                s[7] = (s[7] + 1) & 0xFFFFFF
                s[9] = 0
        age = 0xFFFFF
        if s[9] == 0:
            since = (now - s[6]) & 0x3FFFFFFF
            if since < 0xFFFFF * rate:
                age = since // rate
            else:
                s[9] = 1
        row[at] = s[7]
        row[at + 1] = age
        row[at + 2] = s[8]
        return True
