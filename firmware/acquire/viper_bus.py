"""Columns from the car's bus compiled: the same as acquire/bus_columns.py, several times faster.

Importing this raises SyntaxError on ports without the native emitter. The numbers are those of bus_columns.py; a test
holds both to the same columns.
"""

import micropython

from acquire import bus_columns


class ViperBusColumns(bus_columns.BusColumns):
    """BusColumns whose row path is machine code."""

    @micropython.viper
    def put(self, cells, at: int, grid: int) -> bool:
        """See BusColumns.put."""
        count = int(self.count)
        to = ptr32(cells)
        counts = ptr32(self.counts)
        held = ptr32(self.ticks)
        old = ptr8(self.old)
        n = 0
        while n < count:
            to[at + n] = counts[n]
            us = (grid - held[n]) & 0x3FFFFFFF
            if us > 0x1FFFFFFF:
                us = 0
            if old[n] or us >= 131071000:
                to[at + count + n] = 0x1FFFF
            else:
                to[at + count + n] = us // 1000
            n += 1
        at += count + count
        to[at] = int(self.trip_ms)
        to[at + 1] = int(self.lost) & 0xFFFF
        to[at + 2] = int(self.state)
        return True
