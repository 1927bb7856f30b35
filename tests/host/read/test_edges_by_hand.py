"""Edges of a pulse channel from a few rows each: their numbers and times, missing ones, stops, losses and gaps."""

import numpy as np
import pytest

from ringpull.ring.values import edges
from ringpull.ring.values.edges import EdgeColumns

NAN, NEVER = float("nan"), (1 << 20) - 1


def columns(count, age, row=None, count_bits=24):
    row = np.arange(len(count)) if row is None else np.array(row)
    return EdgeColumns(row, np.array(count, np.uint32), np.array(age, np.uint32), 10000.0, count_bits, 20)


def told(made, loss=4.0, slowest_us=1e6):
    return [(one.number.tolist(), one.time_us.tolist()) for one in edges.stretches(made, loss, slowest_us)]


def steady(rows, first=1, age=1000, at=0):
    """An edge in each row of 10 ms, 1 ms before it."""
    return list(range(first, first + rows)), [age] * rows, list(range(at, at + rows))


def test_numbers_and_times_of_edges():
    count, age, row = steady(4)
    assert told(columns(count, age)) == [([0, 1, 2, 3], [-1000, 9000, 19000, 29000])]
    assert told(columns(count, age, [n + 5 for n in row])) == [([0, 1, 2, 3], [49000, 59000, 69000, 79000])]
    # every second row has none, its age is that of the last; every edge counts two
    assert told(columns([2, 2, 4, 4, 6], [500, 10500, 500, 10500, 500])) == [([0, 2, 4], [-500, 19500, 39500])]


def test_counters_come_round():
    assert told(columns([14, 15, 0, 1], [1000] * 4, count_bits=4)) == [([0, 1, 2, 3], [-1000, 9000, 19000, 29000])]


def test_what_is_no_edge():
    """Before the first one the count is 0; an age that its column does not hold tells of none."""
    assert told(columns([0, 1, 2, 3], [NEVER, 1000, 1000, 1000])) == [([0, 1, 2], [9000, 19000, 29000])]
    assert told(columns([0, 1, 2, 3], [5, 1000, 1000, 1000])) == [([0, 1, 2], [9000, 19000, 29000])]
    assert told(columns([1, 2, 3, 4], [1000, NEVER, 1000, 1000])) == [([0, 2, 3], [-1000, 19000, 29000])]
    assert told(columns([1, 2, 3, 4], [1000, NEVER - 1, 1000, 1000]))[0][0] == [0, 2, 3]  # before the one before it
    for count in (0, 1, 2):
        assert told(columns([0, *range(1, count + 1)], [1000] * (count + 1))) == []
    assert told(columns([], [])) == []


def test_a_longer_wait_is_a_stop():
    """Edges at -1, 9 and 19 ms, then from 119 ms on."""
    count = [1, 2, 3, *[3] * 9, 4, 5, 6]
    age = [1000, 1000, 1000, *range(11000, 101000, 10000), 1000, 1000, 1000]
    assert told(columns(count, age), loss=99.0, slowest_us=99e3) == [
        ([0, 1, 2], [-1000, 9000, 19000]),
        ([0, 1, 2], [119000, 129000, 139000]),
    ]
    assert len(told(columns(count[:-1], age[:-1]), loss=99.0, slowest_us=99e3)) == 1  # two edges are too few
    (one,) = told(columns(count, age), loss=99.0, slowest_us=100e3)
    assert one[0] == [0, 1, 2, 12, 13, 14]  # nine that were missed, by the steady speed on both sides


def test_a_gap_in_the_rows_is_an_end():
    count, age, _ = steady(8)
    row = [0, 1, 2, 3, 10, 11, 12, 13]
    assert told(columns(count, age, row)) == [
        ([0, 1, 2, 3], [-1000, 9000, 19000, 29000]),
        ([0, 1, 2, 3], [99000, 109000, 119000, 129000]),
    ]
    assert edges._without_gaps(np.array(row)) == [(0, 4), (4, 8)] and edges._without_gaps(np.array([])) == []


@pytest.mark.parametrize("missed, last", [(0, [19]), (1, [20]), (4, [23]), (5, [9, 9])])
def test_missing_edges_are_counted_up_to_a_loss(missed, last):
    """Twenty edges of 10 ms, behind the tenth some that were missed; more than four are a loss."""
    rows = 20 + missed
    count = [n + 1 if n < 10 else max(10, n + 1 - missed) for n in range(rows)]
    age = [1000 if n < 10 or n >= 10 + missed else 1000 + 10000 * (n - 9) for n in range(rows)]
    found = told(columns(count, age))
    assert [number[-1] for number, _ in found] == last
    assert sum(len(number) for number, _ in found) == 20 and len(found[0][0]) == (20 if missed < 5 else 10)


def test_one_side_alone_must_be_clear():
    """At an end the other side is taken where it is within 0.1 of a whole number or less than 0.6."""
    inf = float("inf")
    here = np.array([2.0, NAN, NAN, NAN, NAN, NAN, NAN])
    there = np.array([7.0, 1.09, 1.11, 0.59, 0.61, 1.91, -0.4])
    assert edges._one_sided(here, there).tolist() == [2.0, 1.09, inf, 0.59, inf, 1.91, -0.4]
    assert edges._one_sided(np.array([NAN]), np.array([NAN])).tolist() == [inf]


def test_the_median_of_what_is_there():
    a, b, c = (
        np.array(one) for one in ([3.0, 1.0, NAN, NAN, NAN], [1.0, 2.0, 2.0, 5.0, NAN], [2.0, 3.0, 6.0, NAN, NAN])
    )
    for some in ((a, b, c), (b, c, a), (c, a, b), (c, b, a)):
        assert edges._median_of_three(*some) == pytest.approx([2.0, 2.0, 4.0, 5.0, NAN], nan_ok=True)
    four = [np.array([float(n)]) for n in (4, 1, 3, 9)]
    assert edges._median(four).tolist() == [3.5] and edges._median(four[:3]).tolist() == [3.0]


def test_views_of_what_lies_beside():
    before = edges._views(np.array([1.0, 2.0, 3.0]), -1, 2)
    after = edges._views(np.array([1.0, 2.0, 3.0]), 1, 2)
    np.testing.assert_array_equal(before, [[NAN, 1.0, 2.0], [NAN, NAN, 1.0]])
    np.testing.assert_array_equal(after, [[2.0, 3.0, NAN], [3.0, NAN, NAN]])


def test_where_engine_speed_bends_by_an_edge():
    """The rate's second difference times the wait, from 0.3 on, up to two intervals to either side; the ends always."""
    wait = np.full(20, 100.0)
    rate = np.full(20, 0.1)
    for step, near in ((0.0029, False), (0.0031, True)):  # of 0.29 and of 0.31 edges
        rate[10:] = 0.1 + step
        told = np.flatnonzero(edges._near_breaks(rate, wait, 2)).tolist()
        ends = [0, 1, 2, 17, 18, 19]
        assert told == sorted(ends + (list(range(7, 13)) if near else [])), step
    rate[10] = NAN
    assert set(range(7, 14)) <= set(np.flatnonzero(edges._near_breaks(rate, wait, 2)).tolist())


def test_the_best_line_lies_above_rates_that_miss_edges():
    """Five intervals of 100 us at a true rate of 0.5 + 0.001 per interval, of which the second and the fourth miss an
    edge: 0.01 less."""
    true = 0.5 + 0.001 * np.arange(1, 6)
    rates = true - np.array([0.0, 0.01, 0.0, 0.01, 0.0])
    waits = np.full(5, 100.0)

    def at_0(some, wait=waits):
        return edges._best_line([np.array([one]) for one in some], [np.array([one]) for one in wait])[0]

    assert at_0(true) == pytest.approx(0.5) and at_0(rates) == pytest.approx(0.5)
    assert at_0([NAN, *rates[1:]]) == pytest.approx(0.5)  # two true ones and two that miss one each
    two = true - np.array([0.0, 0.02, 0.0, 0.02, 0.02])  # two edges each are missed by three of five
    assert at_0(two) == pytest.approx(0.5)
    assert at_0([true[0], true[1], NAN, NAN, NAN]) == pytest.approx(0.5)
    assert np.isnan(at_0([true[0], NAN, NAN, NAN, NAN])) and np.isnan(at_0([NAN] * 5))
    many = [np.tile(one, 600) for one in rates]
    every = edges._best_line(many, [np.full(600, 100.0)] * 5)
    assert every == pytest.approx(np.full(600, 0.5))  # more than are processed together


@pytest.mark.filterwarnings("error")
def test_times_that_stand_still_are_no_warning():
    """As damage makes them: 8 us in all for 12 edges, two of them at once."""
    wait = np.array([1.0, 1.0, 0.0, 1.0, 1.0, 1.0, 0.0, 1.0, 1.0, 1.0])
    assert np.isfinite(edges.missing_edges(np.ones(10), wait, 3.0)[[4, 9]]).all()
