"""The row path: grid, lateness, lost rows counted, nothing allocated. Runs under MicroPython."""

import micropython

from acquire import button, health, marks, rows, tach
from panel import lamp
from shared_math import layout, ticks

PERIOD = 5000


class Bench:
    """A sampler with one analog reading (its value is `self.level`) and one tach, and a clock set by hand."""

    def __init__(self, capacity=32, start=0, supply=None):
        self.now = start
        self.level = 0
        self.tach = tach.Tach(1000)
        knob = button.Button()
        self.marks = marks.Marks(knob, 200)
        parts = [(0, 0, lambda: self.level), (1, 1, self.tach)]
        self.health = health.Health(supply)
        self.health.heap_kb = 50
        self.columns = 8 + self.health.columns
        queue = rows.RowQueue(self.columns, capacity)
        self.sampler = rows.Sampler(queue, PERIOD, parts, self.marks, lamp.Lamp(None), lambda: self.now, self.health)
        self.sampler.start(start)

    def take(self, at):
        self.now = at & ticks.MASK
        self.sampler.take(None)

    def rows(self):
        queue = self.sampler.queue
        out = []
        while queue.waiting():
            at = queue.at_tail()
            out.append([queue.cells[at + c] for c in range(self.columns + 1)])
            queue.tail = (queue.tail + 1) & ticks.MASK
        return out


def test_columns_stand_where_the_setup_says():
    bench = Bench()
    bench.tach.edge(-800 & ticks.MASK)
    bench.level = 77
    bench.take(0)
    assert bench.rows() == [[0, 77, 1, 800, 0, 0, 50, 0, 0, 0, layout.LAMP_STARTING]]


def test_lateness_is_told_and_ages_count_from_the_grid():
    bench = Bench()
    bench.tach.edge(100)
    bench.take(0)
    bench.tach.edge(4000)
    bench.tach.edge(5600)
    bench.take(5700)
    got = bench.rows()[1]
    assert got[0] == 1 and got[9] == 700
    assert got[2] == 2 and got[3] == 1000


def test_missed_ticks_are_lost_rows_with_their_numbers_left_out():
    bench = Bench()
    bench.take(0)
    bench.take(5000)
    bench.take(5000 * 6 + 10)
    assert [row[0] for row in bench.rows()] == [0, 1, 6]
    assert bench.sampler.lost == 4


def test_full_queue_counts_what_it_cannot_take():
    bench = Bench(capacity=8)
    for n in range(11):
        bench.take(PERIOD * n)
    assert [row[0] for row in bench.rows()] == list(range(8))
    assert bench.sampler.lost == 3


def test_timer_a_little_early_is_no_loss():
    bench = Bench()
    for n in range(20):
        bench.take(PERIOD * n + (-200 if n % 3 == 1 else 10))
    assert [row[0] for row in bench.rows()] == list(range(20))
    assert bench.sampler.lost == 0


def test_grid_holds_across_the_tick_wrap():
    start = (ticks.MASK - 3 * PERIOD) & ticks.MASK
    bench = Bench(start=start)
    for n in range(10):
        bench.take(start + PERIOD * n + 3)
    assert [(row[0], row[9]) for row in bench.rows()] == [(n, 3) for n in range(10)]


def test_a_stall_is_told_once_by_the_row_after_it():
    bench = Bench()
    for n, busy_us in enumerate((3000, 250000, 9000, 0, 9999999)):
        bench.health.worked(busy_us)
        bench.health.worked(15999)
        bench.take(PERIOD * n)
    assert [row[5] for row in bench.rows()] == [0, 250, 0, 0, 4095]
    assert bench.health.stall_us == 9999999


def test_supply_dips_are_counted_once_each():
    bench = Bench(supply=(1, 300, 320))
    seen = []
    for n, counts in enumerate((400, 299, 250, 310, 319, 290, 320, 300, 299, 500)):
        bench.level = counts
        bench.take(PERIOD * n)
        seen.append(bench.health.dips)
    assert seen == [0, 1, 1, 1, 1, 1, 1, 1, 2, 2]
    assert [row[7] for row in bench.rows()] == seen
    bench.health.dips = 255
    bench.level = 0
    bench.take(PERIOD * 10)
    assert bench.health.dips == 0


def test_heap_is_a_low_water_mark():
    own = health.Health()
    own.look_at_heap()
    assert 0 < own.heap_kb <= 1023 and own.heap_kb == min(own.heap_least >> 10, 1023)
    own.heap_least, own.heap_kb = 5000, 4
    own.look_at_heap()
    assert own.heap_kb == 4


def test_row_path_allocates_nothing():
    bench = Bench(capacity=256, supply=(1, 300, 320))
    bench.take(0)
    micropython.heap_lock()
    try:
        for n in range(1, 200):
            bench.now = PERIOD * n
            bench.tach.edge(bench.now - 700)
            bench.level = n * 7 % 500
            bench.health.worked(n * 1000)
            bench.sampler.take(None)
    finally:
        micropython.heap_unlock()
    assert len(bench.rows()) == 200
