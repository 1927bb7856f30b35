"""Runs under MicroPython: stamps as the DMA would have put them into its ring, walked by the firmware, printed as rows.

Read from standard input: a line of limit_us, cycles_per_us, start tick, first grid tick, period_us, rows; then for each
row the number of words in the ring by then and the new ones.
"""

import sys
from array import array

from drivers import viper_edges
from shared_math import ticks

limit_us, rate, start, grid, period_us, rows = [int(word) for word in sys.stdin.readline().split()]
ring = array("I", [0] * 1024)
left = array("I", [0x8000000])
edges = viper_edges.EdgeRing(memoryview(ring), left, limit_us, rate, 4, start)
edges.state[viper_edges.WORDS] = 1024
cells = array("i", [0, 0, 0])
total = 0
for _ in range(rows):
    for word in sys.stdin.readline().split():
        ring[total & 1023] = int(word)
        total += 1
    left[0] = 0x8000000 - total
    edges.put(cells, 0, grid)
    print(cells[0], cells[1], cells[2])
    grid = ticks.add(grid, period_us)
