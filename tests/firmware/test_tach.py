"""The tach input: counts, ages at the row's instant, ringing refused, stopped engines known. Runs under MicroPython."""

import micropython

from acquire import tach
from shared_math import ticks


def row_at(counter, grid):
    cells = [0, 0, 0]
    assert counter.put(cells, 0, grid)
    return cells


def test_counts_and_age_at_the_rows_instant():
    counter = tach.Tach(1000)
    for tick in (10000, 20000, 30000):
        counter.edge(tick)
    assert row_at(counter, 34000) == [3, 4000, 0]


def test_row_sampled_late_sees_the_state_at_its_instant():
    counter = tach.Tach(1000)
    for tick in (10000, 20000, 30000, 40000):
        counter.edge(tick)
    assert row_at(counter, 9000) == [0, tach.AGE_MAX, 0]
    assert row_at(counter, 25000) == [2, 5000, 0]


def test_too_many_edges_since_the_instant_is_said():
    counter = tach.Tach(10)
    for n in range(40):
        counter.edge(100000 + 100 * n)
    assert not counter.put([0, 0, 0], 0, 100000 + 100 * 20)


def test_ringing_is_refused_and_counted():
    counter = tach.Tach(1500)
    counter.edge(10000)
    for after in (20, 80, 200, 300, 1499):
        counter.edge(10000 + after)
    counter.edge(11500)
    assert row_at(counter, 12000) == [2, 500, 5]


def test_across_the_tick_wrap():
    counter = tach.Tach(1000)
    near_end = ticks.MASK - 500
    counter.edge(near_end)
    counter.edge((near_end + 2000) & ticks.MASK)
    assert row_at(counter, (near_end + 2500) & ticks.MASK) == [2, 500, 0]


def test_stopped_engine_stays_stopped_through_tick_wraps():
    counter = tach.Tach(1000)
    counter.edge(5000)
    grid = 5000
    for _ in range(3000):
        grid = (grid + 1000000) & ticks.MASK
        assert row_at(counter, grid)[1] == tach.AGE_MAX or grid == 1005000
    counter.edge(grid)
    assert row_at(counter, (grid + 10) & ticks.MASK) == [2, 10, 0]


def test_counter_wraps_at_24_bits():
    counter = tach.Tach(10)
    counter.count = 0xFFFFFF
    counter.asleep = True
    counter.edge(100)
    assert row_at(counter, 150) == [0, 50, 0]


def test_a_late_row_knows_its_edge_while_the_counter_comes_round():
    counter = tach.Tach(1000)
    counter.count = 0xFFFFF0
    at = 5000
    for n in range(60):
        counter.edge(at)
        counter.edge(at + 2000)
        count = (0xFFFFF1 + 2 * n) & 0xFFFFFF
        assert row_at(counter, at + 1500) == [count, 1500, 0], n  # taken when the next edge had been there
        at += 4000


def test_a_late_row_after_a_long_stop_tells_that_it_stood():
    """Ticks of the edges before the stop mean nothing any more, whatever came round to."""
    for stop_us in (2000000, 540000000, 900000000, 1073742824, 1610612736):
        counter = tach.Tach(1000)
        at = 5000
        for _ in range(20):
            counter.edge(at)
            at += 3000
        for step in range(4):
            row_at(counter, (at + step * 400000) & ticks.MASK)
        at += stop_us
        counter.edge(at & ticks.MASK)
        counter.edge((at + 2000) & ticks.MASK)
        assert row_at(counter, (at - 500) & ticks.MASK) == [20, tach.AGE_MAX, 0], stop_us
        assert row_at(counter, (at + 1000) & ticks.MASK) == [21, 1000, 0]
        assert row_at(counter, (at + 2500) & ticks.MASK) == [22, 500, 0]


def test_a_late_row_before_the_first_edge_after_a_pause_does_not_forget_that_edge():
    """The row's instant lies 1.1 s after one edge and before the next, which is there already: the engine turns."""
    counter = tach.Tach(1000)
    counter.edge(5000)
    counter.edge(1205000)
    assert row_at(counter, 1105000) == [1, tach.AGE_MAX, 0]
    assert not counter.asleep
    counter.edge(1205400)  # ringing of the second edge, and known as such: 0.4 ms after it
    assert row_at(counter, 1206000) == [2, 1000, 1]


def test_handler_allocates_nothing():
    counter = tach.Tach(1000)
    cells = [0, 0, 0]
    counter.edge(1000)
    micropython.heap_lock()
    try:
        for n in range(50):
            counter.edge(5000 + 700 * n)
            counter.put(cells, 0, 5000 + 700 * n)
    finally:
        micropython.heap_unlock()
    assert counter.rejected > 0
