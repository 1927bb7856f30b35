"""Edges -> speed."""

from shared_math import speed

COUNT_MASK = (1 << 24) - 1
AGE_MOST = (1 << 20) - 1


def near(a, b, part):
    return abs(a - b) <= part * abs(b)


def test_rpm_and_cycles():
    assert near(speed.rpm(4, 2, 20000), 6000, 1e-6)  # two turns in 20 ms
    assert speed.edges_per_cycle({"strokes": 4}, 2) == 4
    assert speed.edges_per_cycle({"strokes": 2}, 3) == 3
    assert speed.edges_per_cycle({}, 0.5) == 1
    assert near(speed.speed_kmh(100, 10, 1000000), 36, 1e-6)  # 10 m in a second


def test_shortest_period_and_filter():
    assert speed.shortest_period_us(9000, 2) == 3333
    pulses = {"kind": "pulses", "per_rev": 2, "max_rpm": 9000}
    assert speed.glitch_limit_us(pulses) == 1666
    pulses["min_period_us"] = 400
    assert speed.glitch_limit_us(pulses) == 400
    assert speed.glitch_limit_us({"kind": "pulses", "per_rev": 2}) == 1500  # 10000 rpm unless configured
    assert speed.glitch_limit_us({"kind": "pulses", "per_metre": 12, "max_kmh": 300}) == 500
    assert speed.glitch_limit_us({"kind": "frequency", "hz": [50, 200], "values": [0, 1]}) == 2500
    # a period of five seconds, two of a metre at 0.36 km/h: slower than any age, so the filter ends at two seconds
    assert speed.channel_shortest_us({"kind": "frequency", "hz": [0.1, 0.2], "values": [0, 1]}) == 2000000
    assert speed.channel_shortest_us({"kind": "pulses", "per_metre": 0.05, "max_kmh": 0.36}) == 2000000


def test_duty():
    # 10 ms of the 20 ms that two turns take at 6000 rpm
    assert near(speed.duty_percent(10.0, 6000), 50.0, 1e-6)
    assert near(speed.duty_percent(5.0, 6000, 2), 50.0, 1e-6) and near(speed.duty_percent(10.0, 6000, 1, 4), 50.0, 1e-6)
    assert near(speed.duty_percent(5.0, 6000, 1, 2), 50.0, 1e-6)  # of the 10 ms of one turn


def live(per_rev, rpm, seconds, period_us=5000, first=0xFFFFF0):
    cycle = per_rev * 2
    whole = int(cycle) if cycle == int(cycle) else int(cycle) + 1
    out = speed.LiveSpeed(per_rev, whole, period_us, COUNT_MASK, AGE_MOST)
    edge_us = 60e6 / (rpm * per_rev)
    for n in range(1, int(seconds * 1e6 / period_us)):
        t = n * period_us
        edges = int(t / edge_us)
        out.row((first + edges) & COUNT_MASK, int(t - edges * edge_us) if edges else AGE_MOST)
    return out


def test_live_speed_is_right_at_steady_speed_and_across_the_count_wrap():
    for per_rev, rpm in ((2, 6000), (2, 800), (0.5, 6000), (0.5, 300), (60, 60), (60, 9000), (17.14, 4000), (3, 15000)):
        assert near(live(per_rev, rpm, 2).rpm, rpm, 0.001), (per_rev, rpm, live(per_rev, rpm, 2).rpm)


def test_a_first_row_alone_tells_no_speed():
    """Whatever the count stands at."""
    for count in (0, 5, 100000):
        out = speed.LiveSpeed(2, 4, 5000, COUNT_MASK, AGE_MOST)
        assert out.row(count, 100) == 0 and out.rpm == 0
        assert out.row(count + 1, 100) == 6000  # one edge in 5 ms, two a turn


def test_live_speed_falls_when_edges_stay_away():
    out = live(2, 3000, 1)
    count = out.counts[out.at]
    age = out.ages[out.at]
    before = out.rpm
    for _ in range(40):
        age += 5000
        out.row(count, age)
        assert out.rpm <= before
        before = out.rpm
    assert out.rpm <= 30000000 // age
    assert out.row(count, AGE_MOST) == 0
    assert out.row(count, AGE_MOST) == 0
    # and it is back when edges are: two are enough
    out.row(count + 1, 100)
    assert out.rpm == 0
    out.row(count + 2, 100)
    assert near(out.rpm, 6000, 0.001)


def test_live_speed_keeps_its_value_where_an_interval_is_impossible():
    out = live(0.1, 6000, 2)
    before = out.rpm
    assert near(before, 6000, 0.001)
    # ten edges in a microsecond would be a speed that does not fit 30 bits
    count = out.counts[out.at]
    out.ages[out.at] = 0
    assert out.row(count + 10, 4999) == before


def test_live_speed_of_uneven_firing_is_that_of_the_whole_cycle():
    """Two cylinders fire 315 and 405 degrees apart: at 3000 rpm, 18 degrees a millisecond, 17.5 and 22.5 ms. Every row
    reads 3000, whichever of the two it follows; either interval alone would read 3429 or 2667."""
    out = speed.LiveSpeed(1, 2, 5000, COUNT_MASK, AGE_MOST)
    edges = [n * 40000 + first for n in range(10) for first in (0, 17500)]
    for t in range(0, 360000, 5000):
        passed = [edge for edge in edges if edge <= t]
        out.row(len(passed), t - passed[-1])
        if t >= 60000:
            assert out.rpm == 3000, t


def test_live_speed_forgets_what_was_before_a_hole_as_long_as_ages_last():
    """Ages end at 1,048,575 us: after a hole of 210 rows of 5 ms an edge's time before it is no longer comparable."""
    for since, age, known in ((209, 100, True), (210, 100, False), (1, AGE_MOST - 1, True), (1, AGE_MOST, False)):
        out = live(2, 3000, 1)
        count = out.counts[out.at]
        out.row(count + 1, age, since)
        assert (out.rpm > 0) == known, (since, age)
        assert (out.row(count + 2, 100) > 0) == known, (since, age)  # of one row alone nothing is known
    exact = speed.LiveSpeed(2, 4, 5000, COUNT_MASK, 1000000)
    exact.row(0, 0)
    exact.row(4, 0, 4)
    assert exact.rpm == 6000  # 4 edges, two turns, in 20 ms
    assert exact.row(400, 0, 200) == 0  # as long as ages last


def test_live_speed_of_very_many_edges_between_two_rows():
    """400 edges a turn, a row a second, 15,000 rpm: 100,000 edges, whose product with a million microseconds would not
    stay small; and the edges of a minute are rounded, not cut."""
    for rpm in (15000, 14999, 9001):
        out = speed.LiveSpeed(400, 800, 1000000, COUNT_MASK, AGE_MOST)
        for n in range(3):
            out.row(rpm * 400 // 60 * n, 0)
        assert near(out.rpm, rpm, 3e-4), (rpm, out.rpm)
    assert speed.LiveSpeed(7, 14, 5000, COUNT_MASK, AGE_MOST).minute_us == 8571429  # 60e6 / 7 is 8571428.57
