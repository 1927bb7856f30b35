"""On-time of a pulse input: widths at the row's instant, ringing and chopped currents, long pulses, no allocation.
MicroPython."""

import micropython

from acquire import button, health, marks, pulse, rows, tach
from panel import lamp
from shared_math import ticks

LIMIT = 200


def row_at(meter, grid):
    cells = [0] * 4
    assert meter.put(cells, 0, grid & ticks.MASK)
    return cells


def pulse_at(meter, began, width):
    meter.change(True, began & ticks.MASK)
    meter.change(False, (began + width) & ticks.MASK)


def test_nothing_before_the_first_pulse_ends():
    meter = pulse.Pulse(LIMIT)
    assert row_at(meter, 5000) == [0, tach.AGE_MAX, 0, 0]
    meter.change(True, 6000)
    assert row_at(meter, 7000) == [0, tach.AGE_MAX, 0, 0]
    meter.change(False, 8500)
    assert row_at(meter, 8600) == [0, tach.AGE_MAX, 0, 0]  # perhaps not for good
    assert row_at(meter, 8700) == [1, 200, 0, 2500]
    assert row_at(meter, 9000) == [1, 500, 0, 2500]


def test_each_row_has_the_last_whole_pulse():
    meter = pulse.Pulse(LIMIT)
    pulse_at(meter, 10000, 3000)
    pulse_at(meter, 30000, 4000)
    meter.change(True, 50000)
    assert row_at(meter, 9000) == [0, tach.AGE_MAX, 0, 0]  # a row taken late sees what stood at its instant
    assert row_at(meter, 33000) == [1, 20000, 0, 3000]
    assert row_at(meter, 50500) == [2, 16500, 0, 4000]


def test_an_end_in_the_rows_future_is_not_told():
    meter = pulse.Pulse(LIMIT)
    pulse_at(meter, 10000, 3000)
    pulse_at(meter, 30000, 4000)
    assert row_at(meter, 32000) == [1, 19000, 0, 3000]
    assert row_at(meter, 34199) == [1, 21199, 0, 3000]
    assert row_at(meter, 34200) == [2, 200, 0, 4000]


def test_ringing_is_no_pulse_and_no_end():
    meter = pulse.Pulse(LIMIT)
    pulse_at(meter, 1000, 60)
    assert row_at(meter, 5000) == [0, tach.AGE_MAX, 1, 0]
    meter.change(True, 10000)
    for n in range(1, 21):  # the current is held by switching: 50 us off, 50 us on
        meter.change(False, 11000 + 100 * n)
        meter.change(True, 11050 + 100 * n)
    meter.change(False, 14000)
    assert row_at(meter, 20000) == [1, 6000, 21, 4000]


def test_a_level_told_twice_changes_nothing():
    meter = pulse.Pulse(LIMIT)
    meter.change(True, 1000)
    meter.change(True, 1500)
    meter.change(False, 3000)
    meter.change(False, 3500)
    assert row_at(meter, 9000) == [1, 6000, 0, 2000]


def test_long_pulses_are_told_as_long():
    meter = pulse.Pulse(LIMIT)
    pulse_at(meter, 1000, 131070)
    assert row_at(meter, 140000)[3] == 131070
    pulse_at(meter, 1000000, 131071)
    assert row_at(meter, 1200000)[3] == pulse.ON_MAX
    # on for longer than ticks can tell, with rows passing meanwhile: one second of remainder is not its width
    meter.change(True, 2000000)
    grid = 2000000
    for _ in range(2200):
        grid = (grid + 500000) & ticks.MASK
        row_at(meter, grid)
    meter.change(False, grid)
    assert row_at(meter, grid + 1000)[3] == pulse.ON_MAX


def test_an_engine_that_stands_stays_standing_through_tick_wraps():
    meter = pulse.Pulse(LIMIT)
    pulse_at(meter, 1000, 3000)
    grid = 4000
    for n in range(3000):
        grid = (grid + 1000000) & ticks.MASK
        got = row_at(meter, grid)
        assert got[0] == 1 and got[3] == 3000 and (n == 0 or got[1] == tach.AGE_MAX), (n, got)
    meter.change(True, (4000 + 100) & ticks.MASK)  # a tick that looks like 100 us after that end
    meter.change(False, 9100)
    assert row_at(meter, 10000) == [2, 900, 0, 5000]
    assert row_at(meter, 8000) == [1, tach.AGE_MAX, 0, 3000]


def test_across_the_tick_wrap():
    meter = pulse.Pulse(LIMIT)
    pulse_at(meter, ticks.MASK - 1000, 3000)
    assert row_at(meter, 2500) == [1, 501, 0, 3000]
    pulse_at(meter, 20000, 2500)
    meter.change(True, 40000)
    assert row_at(meter, 40000) == [2, 17500, 0, 2500]


def test_counts_and_rejected_wrap():
    meter = pulse.Pulse(LIMIT)
    meter.count, meter.rejected = 0xFFFFFF, 0xFFFF
    pulse_at(meter, 1000, 2000)
    pulse_at(meter, 5000, 50)
    pulse_at(meter, 9000, 2100)
    meter.change(True, 20000)
    assert meter.count == 1 and meter.rejected == 0


def test_the_first_pulse_is_forgotten_once_a_row_has_seen_it():
    """Its number comes again when the counter has gone round: a row taken late must not take that one for the first."""
    meter = pulse.Pulse(LIMIT)
    meter.change(True, 6000)
    pulse_at(meter, 6000, 3000)
    for n in range(20):
        pulse_at(meter, 10000 + 5000 * n, 3000)
        row_at(meter, 10000 + 5000 * n + 4000)
    meter.count = (1 << 24) - 3 & 0xFFFFFF  # so many pulses later
    for n in range(20, 26):
        pulse_at(meter, 10000 + 5000 * n, 3000)
    assert row_at(meter, 10000 + 5000 * 21 + 4000)[1] == 1000


def test_handlers_allocate_nothing():
    meter = pulse.Pulse(LIMIT)
    cells = [0] * 4
    micropython.heap_lock()
    try:
        tick = ticks.MASK - 100000
        for n in range(100):
            tick = ticks.add(tick, 5000)
            meter.change(True, tick)
            meter.put(cells, 0, ticks.add(tick, 30))
            meter.change(False, ticks.add(tick, 1000 + n if n % 7 else 50))
            meter.put(cells, 0, ticks.add(tick, 1500))
    finally:
        micropython.heap_unlock()
    assert meter.count > 70 and meter.rejected > 10


def test_the_fastest_row_path_takes_it_and_allocates_nothing():
    bench_now = [0]
    knob = button.Button()
    meter = pulse.Pulse(LIMIT)
    queue = rows.RowQueue(4 + 2 + 4, 64)
    own = health.Health()
    now = lambda: bench_now[0]  # noqa: E731
    sampler = rows.sampler(queue, 5000, [(0, 1, meter)], marks.Marks(knob, 200), lamp.Lamp(None), now, own)
    sampler.start(0)
    sampler.take(None)
    micropython.heap_lock()
    try:
        for n in range(1, 60):
            meter.change(True, n * 5000 - 4000)
            meter.change(False, n * 5000 - 4000 + 1500 + n)
            bench_now[0] = n * 5000
            sampler.take(None)
    finally:
        micropython.heap_unlock()
    assert queue.waiting() == 60
    for n in range(1, 60):
        at = n * queue.stride
        assert [queue.cells[at + c] for c in range(5)] == [n, n, 2500 - n, 0, 1500 + n]
