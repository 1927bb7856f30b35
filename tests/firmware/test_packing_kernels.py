"""Compiled and plain packing kernels give the same bytes, which unpack to the rows. Runs under MicroPython."""

import gc
from array import array

from shared_math import layout, packing, unpacking
from store import packer, plain_packer
from store.viper_packing import ViperPacker

BITS = [12, 12, 12, 24, 20, 16, 1, 8]


class Rows:
    """Rows with `spread` of each column's range, drifting by `drift` a row."""

    def __init__(self, seed, spread, drift):
        self.random = seed
        self.spread = spread
        self.drift = drift
        self.n = 0

    def next(self):
        row = []
        for width in BITS:
            self.random = (self.random * 1103515245 + 12345) & 0x3FFFFFFF
            top = (1 << width) - 1
            value = top // 3 + (self.random >> 8) % (top // self.spread + 1) + self.n * self.drift
            row.append(min(max(value, 0), top))
        self.n += 1
        return row


def filled(kind, seed, spread, drift, max_rows=150):
    packer = kind(BITS, max_rows)
    source = Rows(seed, spread, drift)
    rows = []
    while True:
        row = source.next()
        if not packer.add(row_array(row)):
            break
        rows.append(row)
    block = bytearray(layout.SLOT)
    layout.start_block(block, layout.PACKED, b"test")
    packer.write(block, 70000, 3)
    return rows, block


def row_array(row):
    return array("i", row)


def test_same_bytes_and_right_ones():
    for seed in range(12):
        for spread, drift in ((1, 0), (3, 0), (50, 1), (3000, -7), (100000, 0), (100000, 900)):
            gc.collect()
            rows, plain = filled(packing.Packer, seed, spread, drift)
            again, viper = filled(ViperPacker, seed, spread, drift)
            assert rows == again and plain == viper, (seed, spread, drift)
            columns = unpacking.unpack(viper, BITS)
            for c in range(len(BITS)):
                assert columns[c] == [row[c] for row in rows], (seed, spread, drift, c)


def test_a_full_block_takes_nothing():
    for kind in (packing.Packer, ViperPacker):
        packer = kind(BITS, 4)
        row = row_array([1] * len(BITS))
        assert [packer.add(row) for _ in range(6)] == [True, True, True, True, False, False]
        assert packer.rows == 4


def test_adding_and_writing_allocate_nothing():
    import micropython

    packer = ViperPacker(BITS, 40)
    row = row_array([1] * len(BITS))
    block = bytearray(layout.SLOT)
    packer.add(row)
    micropython.heap_lock()
    try:
        for n in range(30):
            row[0] = n * 7
            packer.add(row)
        packer.write(block, 1000, 0)
    finally:
        micropython.heap_unlock()
    assert packer.rows == 31


def runs(kind, cells, stride, rows, most):
    """What add_run takes, row by row where it stops, and the blocks that come of it."""
    pack = kind(BITS, 40)
    span = array("i", [0] * packer.SPAN)
    span[packer.MOST_ROWS] = most
    span[packer.AT_MARK] = stride - 2
    told = []
    at = 0
    while at < rows * stride:
        done = pack.add_run(cells, at, stride, min(7, rows - at // stride), span)
        told.append(done)
        at += done * stride
        if not done:
            if pack.rows:
                block = bytearray(layout.SLOT)
                layout.start_block(block, layout.PACKED, b"test")
                pack.write(block, span[packer.FIRST_ROW], 0)
                told.append(bytes(block))
                pack.clear()
            span[packer.FIRST_ROW] = cells[at]
            span[packer.NEXT_ROW] = cells[at] + 1
            span[packer.MARK] = cells[at + stride - 2]
            span[packer.FLAG] = cells[at + stride - 1]
            assert pack.add(cells, at + 1)
            at += stride
    return told


def test_same_runs_and_right_stops():
    stride = len(BITS) + 3
    for spread in (2, 60, 100000):
        source = Rows(spread, spread, 1)
        cells = array("i")
        number = 0
        for n in range(300):
            number += 1 if n % 41 else 3
            cells.extend(row_array([number] + source.next() + [n // 77, n // 120]))
        for most in (30, 60):  # the time of a block, or its room, ends it
            gc.collect()
            plain = runs(plain_packer.Packer, cells, stride, 300, most)
            assert plain == runs(ViperPacker, cells, stride, 300, most)
            counts = [step for step in plain if isinstance(step, int)]
            assert sum(counts) + counts.count(0) == 300 and max(counts) == 7
