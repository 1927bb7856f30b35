"""The ring of stamped edges against the interrupt tach, on the same edges. Runs under MicroPython."""

from array import array

import micropython

from acquire import tach
from drivers import viper_edges
from shared_math import ticks

RATE = 125  # cycles a microsecond
STANDS = 4
MOST = 0x8000000


class Ring:
    """What PIO and DMA make of edges at given microseconds since the start."""

    def __init__(self, limit_us, start=0, words=256, before=0):
        self.words = array("I", bytes(4 * words))
        self.left = array("I", [(MOST - before) % MOST])
        self.start = start
        self.total = before
        self.edges = 0
        self.ring = viper_edges.EdgeRing(memoryview(self.words), self.left, limit_us, RATE, STANDS, start)
        self.ring.state[viper_edges.WORDS] = words
        self.ring.state[viper_edges.POSITION] = before

    def edge(self, us):
        word = (us * RATE - STANDS * self.edges) // 2
        self.words[self.total % len(self.words)] = word & 0xFFFFFFFF
        self.edges += 1
        self.total += 1
        self.left[0] = (MOST - self.total) % MOST

    def row(self, us):
        cells = [0, 0, 0]
        cells = array("i", cells)
        assert self.ring.put(cells, 0, (self.start + us) & ticks.MASK)
        return list(cells)


def numbers(seed):
    while True:
        seed = (seed * 1103515245 + 12345) & 0x3FFFFFFF
        yield seed >> 8


def test_same_rows_as_the_interrupt_tach():
    """Random gaps with ringing and stops, across the wrap of ticks, of cycles and of the DMA's counter."""
    for seed in range(6):
        random = numbers(seed)
        start = (0x3FFFFFFF - 700000 * seed) & 0x3FFFFFFF
        ring = Ring(900, start, 256, MOST - 150)
        counter = tach.Tach(900)
        at = 3000
        grid = 0
        for _ in range(600):
            for _ in range(next(random) % 6):
                gap = next(random) % 40
                at += 20 + gap * (100 if gap > 5 else 1) + (1300000 if next(random) % 300 == 0 else 0)
                while grid + 5000 <= at:
                    grid += 5000
                    cells = [0, 0, 0]
                    assert counter.put(cells, 0, (start + grid) & ticks.MASK)
                    got = ring.row(grid)
                    assert abs(got[1] - cells[1]) <= 1 and got[0::2] == cells[0::2], (seed, grid, got, cells)
                ring.edge(at)
                counter.edge((start + at) & ticks.MASK)
        assert ring.ring.rejected > 50 and counter.count > 500


def test_edges_after_the_rows_instant_belong_to_the_next():
    ring = Ring(500)
    for us in (1000, 4000, 6000, 9000):
        ring.edge(us)
    assert ring.row(5000) == [2, 1000, 0]
    assert ring.row(10000) == [4, 1000, 0]


def test_engine_that_stands_for_an_hour_wakes_with_the_right_age():
    ring = Ring(500)
    ring.edge(2000)
    at = 5000
    while at < 3600000000:
        row = ring.row(at)
        assert row == ([1, at - 2000, 0] if at - 2000 < tach.AGE_MAX else [1, tach.AGE_MAX, 0])
        at += 500000
    ring.edge(at - 700)
    assert ring.row(at) == [2, 700, 0]


def test_what_the_ring_could_not_hold_is_counted_as_rejected():
    ring = Ring(50, 0, 64)
    for n in range(200):
        ring.edge(1000 + 100 * n)
    count, age, rejected = ring.row(21000)
    assert count + rejected == 200 and rejected == 200 - 64 + 16 and age == 100


def test_forty_five_milliseconds_without_a_row_lose_no_edge():
    """A flash erase blinds interrupts for so long; 11,000 edges a second meanwhile, and the board's ring of 512."""
    ring = Ring(40, 0, 512)
    for n in range(495):
        ring.edge(1000 + n * 91)
    assert ring.row(1000 + 45100) == [495, 45100 - 494 * 91, 0]


def test_edges_before_the_recording_are_nobodys():
    ring = Ring(50, 0, 64)
    for n in range(200):
        ring.edge(1000 + 100 * n)
    ring.ring.forget()
    assert ring.row(21000) == [0, tach.AGE_MAX, 0]
    ring.edge(21500)
    ring.edge(21900)
    assert ring.row(22000) == [2, 100, 0]


def test_count_and_rejected_wrap_as_their_columns_do():
    ring = Ring(500)
    ring.ring.state[viper_edges.COUNT] = 0xFFFFFF
    ring.ring.state[viper_edges.REJECTED] = 0xFFFF
    ring.edge(1000)
    ring.edge(1100)
    assert ring.row(2000) == [0, 1000, 0]


def test_walking_allocates_nothing_and_no_number_leaves_31_bits():
    ring = Ring(900, 0x3FFFF000)
    for n in range(200):
        ring.edge(3000 + 1500 * n)
    cells = array("i", [0, 0, 0])
    micropython.heap_lock()
    try:
        for n in range(60):
            ring.ring.put(cells, 0, (0x3FFFF000 + 5000 * n) & 0x3FFFFFFF)
    finally:
        micropython.heap_unlock()
    assert cells[0] == 195
    for number in ring.ring.state:
        assert 0 <= number <= 0x3FFFFFFF
