"""Under MicroPython: `pack_rows.py KIND ROWS` adds rows of 12 analog channels and a tach to a packer, writing full
blocks."""

import sys
from array import array

from shared_math import layout, packing

BITS = [12] * 12 + [24, 20, 16, 16, 16, 16, 8]
kind = packing.Packer
if sys.argv[1] == "compiled":
    from store.viper_packing import ViperPacker

    kind = ViperPacker
packer = kind(BITS, 200)
block = bytearray(layout.SLOT)
rows = []
random = 3
for n in range(64):
    row = []
    for _ in BITS[:12]:
        random = (random * 1103515245 + 12345) & 0x3FFFFFFF
        row.append(2000 + 3 * n + (random >> 20) % 9)
    rows.append(array("i", row + [n // 3, (n * 4567) % 9000, 0, 0, 0, 0, 1]))
for n in range(int(sys.argv[2])):
    row = rows[n & 63]
    if not packer.add(row):
        layout.start_block(block, layout.PACKED, b"ring")
        packer.write(block, n, 0)
        packer.clear()
        packer.add(row)
