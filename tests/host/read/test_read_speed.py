"""Engine speed from counts and ages of edges whose true speed is known in closed form.

Rows are made here as the format defines them: edges counted up to the row's instant, age of the last one in whole
microseconds. No firmware is involved.
"""

from importlib.util import find_spec

import numpy as np
import pytest

from ringpull.ring.values import edges as read_edges
from ringpull.ring.values import speed
from ringpull.ring.values.edges import EdgeColumns

COUNT_BITS, AGE_BITS = 24, 20
NUMBA = find_spec("numba")
compiled = pytest.mark.skipif(not NUMBA, reason="numba is not installed: pip install '.[fast]'")


def edges_of(rpm, until_s, per_rev, offsets=(0.0,)):
    """Times of edges; rpm: function of time. The phase is summed in steps of 20 us."""
    t = np.arange(0, until_s, 2e-5)
    phase = np.concatenate([[0.0], np.cumsum(rpm(t[:-1] + 1e-5) / 60 * per_rev * 2e-5)])
    number = np.arange(1, int(phase[-1]))
    return np.interp(number + np.resize(offsets, number.size), phase, t)


def rows_of(edges_s, rate_hz, until_s):
    """(row, count, age) as stored."""
    row = np.arange(int(until_s * rate_hz))
    instant = row / rate_hz
    count = np.searchsorted(edges_s, instant, side="right")
    last = np.where(count > 0, edges_s[np.maximum(count - 1, 0)], -np.inf)
    age = np.minimum(np.floor((instant - last) * 1e6 + 0.5), (1 << AGE_BITS) - 1)
    return row, (count & 0xFFFFFF).astype(np.uint32), age.astype(np.uint32)


def decoded(edges_s, rate_hz, until_s, per_rev, cycle=None):
    row, count, age = rows_of(edges_s, rate_hz, until_s)
    columns, over = EdgeColumns(row, count, age, 1e6 / rate_hz, COUNT_BITS, AGE_BITS), cycle or max(1.0, 2 * per_rev)
    hz = speed.rate_hz(columns, over)
    if NUMBA:
        np.testing.assert_allclose(speed.rate_hz(columns, over, fast=True), hz, rtol=1e-12)
    return row / rate_hz, hz * 60 / per_rev


@compiled
def test_the_compiled_way_is_tested_too():
    from ringpull.ring.values import compiled_speed

    assert callable(compiled_speed.widths.py_func)  # it is compiled: as it stands it would take hours
    assert compiled_speed.widths.stats.cache_path  # once for all runs
    assert compiled_speed.widths.targetoptions["nogil"]  # and other threads go on meanwhile


def compiled_widths(starts, y, times, cycle, steps=4, near=1e-5):
    """By the compiled search, on straight lines through points that stand among numbers which it must not read."""
    from ringpull.ring.values import compiled_speed

    def held(values):
        return np.concatenate([np.full(3, np.nan), values, np.full(3, np.nan)])[3:-3]

    slope, out = np.diff(y) / np.diff(starts), np.full(len(times), np.nan)
    curve = held(starts), held(y), held(slope), held(np.zeros(len(slope)))
    compiled_speed.widths(*curve, np.array(times, float), float(cycle), steps, near, out)
    return out.tolist()


@compiled
def test_the_compiled_search_by_hand():
    """Edges 5 apart, from 15 on 1 apart, and t = 15.5, which the line puts at 3.5. The cycle of two there lasts from
    12.5 to 16.5: 4, its middle is 14.5, and the search goes (15.5 - 14.5) 2 / 4 = 0.5 on. Around 4 the cycle lasts from
    15 to 17: 2, its middle is 16, and it goes 0.5 back, and so on.

    With an eighth of these times it goes 2 (15.5 - 14.5) / 8 = 0.25 on, as if the cycle lasted 1. Around 3.75 it lasts
    3/8, from 13.75 / 8 to 16.75 / 8, and 2 (15.5 - 15.25) / 8 = 1/16 further on 2.75/8."""
    edges, times = np.arange(7.0), np.array([0, 5, 10, 15, 16, 17, 18])
    for steps, wanted in enumerate((4, 2, 4, 2, 4)):
        assert compiled_widths(edges, times, [15.5], 2, steps) == [wanted]
    for steps, wanted in enumerate((1 / 2, 3 / 8, 2.75 / 8)):
        assert compiled_widths(edges, times / 8, [15.5 / 8], 2, steps) == [wanted]
    # a move that is not above `near` is the last one, and no cycle is looked up after it
    for near, wanted in ((0.5, 4), (0.49, 2)):
        assert compiled_widths(edges, times, [15.5], 2, 1, near) == [wanted]
    for cycle in (2, 2.5, 3):
        assert compiled_widths(edges, edges * 10, [30], cycle) == [cycle * 10]
    assert compiled_widths([0.0, 5], [0.0, 50], [50, 0], 2) == [20, 20]  # one interval


@compiled
@pytest.mark.parametrize(
    "x, begin, found, read", [(2.5, 4, 2, "4323"), (2, 2, 2, "23"), (3, 2, 3, "234"), (9, 3, 4, "34"), (-1, 1, 0, "11")]
)
def test_an_interval_is_looked_for_from_its_neighbour_on(x, begin, found, read):
    """Which points of six are read for it: no more than lie between, however long the curve is. One at which an
    interval ends belongs to the next."""
    from ringpull.ring.values import compiled_speed

    asked = []

    class Points(list):
        def __getitem__(self, at):
            asked.append(int(at))
            return float(at)

    assert compiled_speed._at.py_func(x, Points(range(6)), begin) == found
    assert "".join(map(str, asked)) == read


@compiled
@pytest.mark.parametrize("first", [0.0, 0.001])  # 0.001 + 1 - 1 is below 0.001
def test_the_compiled_search_keeps_to_the_curve(first):
    """Times 1, 2, 4, 8 and 16 apart, forth and back: the first cycle of two lasts 3, the last one 24. Where the first
    edge is a thousandth late by its tooth, so is the end of its cycle: by 0.004."""
    edges, times = np.array([first, 1, 2, 3, 4, 5]), np.array([0.0, 1, 3, 7, 15, 31])
    first_one = pytest.approx(3 + 4 * first, rel=1e-12)
    assert compiled_widths(edges, times, [0, 31, 0.5, 0, 31], 2) == [first_one, 24, first_one, first_one, 24]


@compiled
@pytest.mark.parametrize("cycle", [2.0, 2.5, 3.0])
def test_the_compiled_search_finds_the_same_in_any_order_of_times(cycle):
    curve = speed.Curve(np.array([0.001, 1, 2, 3.5, 4, 5, 7]), np.array([0.0, 10, 30, 70, 150, 160, 200]))
    times = np.arange(0.0, 201.0)
    plain = speed._widths(curve, times, cycle)
    for order in (times, times[::-1], np.random.default_rng(3).permutation(times)):
        found = speed._compiled_widths(curve, order, cycle)
        np.testing.assert_allclose(found, plain[order.astype(int)], rtol=1e-12)


def dropped(edges_s, seed, share=1 / 250):
    return edges_s[np.random.default_rng(seed).random(edges_s.size) > share]


def ramp(t):
    """1500 to 7000 rpm and back at 700 rpm a second, corners at 1, 8.857, 9.857 and 17.71 s."""
    return np.interp(t, [1, 8.857, 9.857, 17.714], [1500, 7000, 7000, 1500])


CORNERS = np.array([0.0, 1.0, 8.857, 9.857, 17.714, 18.7])


@pytest.mark.parametrize("drop", [False, True], ids=["all edges", "one in 250 missing"])
@pytest.mark.parametrize(
    ("per_rev", "rate_hz"), [(0.5, 200), (1, 200), (2, 50), (2, 200), (2, 1000), (3, 10), (4, 20), (6, 200)]
)
def test_ramps(per_rev, rate_hz, drop):
    edges_s = edges_of(ramp, 18.7, per_rev)
    t, rpm = decoded(dropped(edges_s, 5) if drop else edges_s, rate_hz, 18.7, per_rev)
    margin = 1.5 * 120 / ramp(t) + 3 / rate_hz
    inside = np.all(np.abs(t[:, None] - CORNERS) > margin[:, None], axis=1)
    error = np.abs(rpm[inside] / ramp(t[inside]) - 1)
    assert np.isfinite(error).all()
    assert np.percentile(error, 99) < 0.0005 and error.max() < 0.002


@pytest.mark.parametrize(("per_rev", "rpm"), [(60, 1000), (60, 3000), (60, 7000), (60, 14000), (36, 7000), (12, 15000)])
def test_one_edge_in_a_hundred_missing_where_many_fall_in_a_row(per_rev, rpm):
    """Up to 70 edges a row, so that half of the rows and more miss some."""
    edges_s = dropped(edges_of(lambda t: np.full(t.shape, rpm), 12, per_rev), 1, 1 / 100)
    t, got = decoded(edges_s, 200, 12, per_rev)
    inside = (t > 0.3) & (t < 11.7)
    assert np.abs(got[inside] / rpm - 1).max() < 0.0002


@pytest.mark.parametrize("per_rev", [12, 36])
def test_one_edge_in_a_hundred_missing_on_ramps_of_many_edges(per_rev):
    t, rpm = decoded(dropped(edges_of(ramp, 18.7, per_rev), 1, 1 / 100), 200, 18.7, per_rev)
    inside = (t > 0.3) & (t < 18.4)
    assert np.abs(rpm[inside] / ramp(t[inside]) - 1).max() < 0.01


@pytest.mark.parametrize("rpm", [850, 3000, 7000])
def test_steady_speed_with_uneven_teeth(rpm):
    """Teeth up to 5 % of their spacing off, edges missing, and at 7000 rpm more than one edge a row."""
    edges_s = dropped(edges_of(lambda t: np.full(t.shape, rpm), 12, 2, (0.0, 0.05, -0.03, 0.02)), 7)
    t, got = decoded(edges_s, 200, 12, 2)
    inside = (t > 0.3) & (t < 11.7)
    assert np.abs(got[inside] / rpm - 1).max() < 0.0003


def test_firing_pulses_within_the_cycle_are_averaged_out():
    """Speed swings by 6 % twice a revolution, as a four-cylinder's does: the cycle's mean does not."""
    swing = 4000 / 60 * 2 * 2 * np.pi
    edges_s = edges_of(lambda t: 4000 * (1 + 0.06 * np.sin(swing * t)), 6, 6)
    t, got = decoded(edges_s, 500, 6, 6)
    inside = (t > 0.2) & (t < 5.8)
    assert np.abs(got[inside] / 4000 - 1).max() < 0.002


def test_a_step_does_not_spread():
    edges_s = edges_of(lambda t: np.where(t < 2, 1000, 4000), 4, 0.5)
    t, got = decoded(edges_s, 200, 4, 0.5)
    assert np.abs(got[(t > 0.3) & (t < 2 - 0.25)] / 1000 - 1).max() < 0.0003
    assert np.abs(got[(t > 2 + 0.25) & (t < 3.9)] / 4000 - 1).max() < 0.0003


def test_nothing_is_known_in_a_loss_a_stop_and_before_the_first_edge():
    edges_s = edges_of(lambda t: np.full(t.shape, 3000), 20, 2)
    lost = (edges_s > 5) & (edges_s < 6)
    stopped = edges_s > 12
    early = edges_s < 1
    t, got = decoded(edges_s[~(lost | stopped | early)], 200, 15, 2)
    for low, high in ((0, 0.98), (5.02, 5.98), (12.05, 15)):
        assert np.isnan(got[(t > low) & (t < high)]).all()
    for low, high in ((1.05, 4.95), (6.05, 11.95)):
        assert np.abs(got[(t > low) & (t < high)] / 3000 - 1).max() < 0.0003


def test_a_hole_in_the_rows_is_not_bridged():
    edges_s = edges_of(lambda t: np.full(t.shape, 1200), 10, 1)
    row, count, age = rows_of(edges_s, 200, 10)
    keep = (row < 800) | (row >= 830)
    hz = speed.rate_hz(EdgeColumns(row[keep], count[keep], age[keep], 5000, COUNT_BITS, AGE_BITS), 2.0)
    t = row[keep] / 200
    near = np.abs(t - 4.075) < 0.12
    assert np.isnan(hz[near]).any()
    assert np.nanmax(np.abs(hz / 20 - 1)) < 0.0003
    assert np.isfinite(hz[(np.abs(t - 4.075) > 0.2) & (t > 0.2) & (t < 9.8)]).all()


def test_the_counter_wraps():
    edges_s = edges_of(lambda t: np.full(t.shape, 6000), 6, 2)
    row, count, age = rows_of(edges_s, 200, 6)
    count = (count + (1 << COUNT_BITS) - 300) & ((1 << COUNT_BITS) - 1)
    hz = speed.rate_hz(EdgeColumns(row, count, age, 5000, COUNT_BITS, AGE_BITS), 4.0)
    inside = (row > 40) & (row < 1160)
    assert np.abs(hz[inside] / 200 - 1).max() < 0.0003


def test_cranking_and_a_start_are_not_taken_for_missing_edges():
    """From 200 to 1300 rpm within a second: no speed above the truth by the share of an edge."""

    def start(t):
        return np.interp(t, [0, 2, 3, 3.3, 6], [200, 200, 1300, 1100, 900])

    edges_s = edges_of(start, 6, 2)
    t, got = decoded(edges_s, 200, 6, 2)
    mean = np.array([start(np.linspace(x - 0.15, x + 0.15, 31)).mean() for x in t])
    known = np.isfinite(got)
    assert known.mean() > 0.9
    assert (got[known] < 1.25 * mean[known]).all() and (got[known] > 0.75 * mean[known]).all()


def test_missing_edges_are_counted():
    wait = np.full(60, 5000.0)
    told = np.ones(60)
    wait[20] *= 2
    wait[40] *= 3
    found = read_edges.missing_edges(told, wait, 4.0)
    assert np.flatnonzero(found).tolist() == [20, 40] and found[20] == 1 and found[40] == 2
    wait[30] *= 40
    assert np.isinf(read_edges.missing_edges(told, wait, 4.0)[30])


@pytest.mark.parametrize("rows", [0, 1, 2, 3])
def test_few_rows(rows):
    out = speed.rate_hz(EdgeColumns(np.arange(rows), np.arange(rows), np.zeros(rows), 5000, COUNT_BITS, AGE_BITS), 4.0)
    assert out.shape == (rows,) and np.isnan(out).all()


def test_speed_is_known_from_the_middle_of_the_first_cycle_to_the_middle_of_the_last():
    """Two edges a turn, 10 ms apart (3000 rpm), the first at 10 ms and the last at 1000 ms: cycles of four edges have
    their middles from 30 to 980 ms, both of which are instants of rows of 5 ms."""
    edges_s = np.arange(1, 101) / 100
    t, rpm = decoded(edges_s, 200, 1.2, 2)
    known = np.isfinite(rpm)
    assert np.flatnonzero(known).tolist() == list(range(6, 197))  # rows 30 / 5 to 980 / 5
    assert np.abs(rpm[known] - 3000).max() < 0.01


def test_a_curve_bends_as_its_neighbours_do_up_to_twice_the_lesser():
    """Slopes 0, 1, 6 over x of steps 1: bends 1 and 5 at either end of the middle interval, whose mean 3 is limited to
    2. There y(1.5) = 0.5 (1 + 2 / 2 (0.5 - 1)) = 0.25 and the slope at 1.25 is 1 + 2 (0.25 - 0.5) = 0.5."""
    x = np.arange(4.0)
    curve = speed.Curve(x, np.array([0.0, 0.0, 1.0, 7.0]))
    assert curve(np.array([1.5]))[0] == pytest.approx(0.25)
    assert curve.slope(np.array([1.25]))[0] == pytest.approx(0.5)
    # slopes 1, 2, 4: bends 1 and 2, whose mean 1.5 is below twice the lesser: y(1.5) = 1 + 0.5 (2 - 1.5 / 4) = 1.8125
    assert speed.Curve(x, np.array([0.0, 1.0, 3.0, 7.0]))(np.array([1.5]))[0] == pytest.approx(1.8125)
    # slopes 0, 3, 1: bends of unlike sign, and the line is straight: y(1.25) = 0.25 x 3
    assert speed.Curve(x, np.array([0.0, 0.0, 3.0, 4.0]))(np.array([1.25]))[0] == pytest.approx(0.75)
    # downward as upward, and steps of unlike length: slopes 2 over 1, 1 over 2, -2 over 1: bends 2 (1 - 2) / 3 and
    # 2 (-2 - 1) / 3, -2/3 and -2, mean and limit both -4/3: y(2) = 2 + 1 (1 - 2/3 (1 - 2)) = 11/3
    falls = speed.Curve(np.array([0.0, 1.0, 3.0, 4.0]), np.array([0.0, 2.0, 4.0, 2.0]))
    assert falls(np.array([2.0]))[0] == pytest.approx(11 / 3)
    # a parabola is met exactly, in its first and last interval too, which bend as the one beside them
    at = np.array([0.5, 1.5, 2.5, 2.9])
    assert speed.Curve(x, x**2)(at) == pytest.approx(at**2)
