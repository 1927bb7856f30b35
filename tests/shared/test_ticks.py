"""Ticks that wrap at 2^30 and sequence numbers that wrap at 2^32."""

from shared_math import ticks

TOP = (1 << 30) - 1


def test_add_wraps_both_ways():
    assert ticks.MASK == TOP
    assert ticks.add(5, 7) == 12
    assert ticks.add(TOP, 1) == 0
    assert ticks.add(TOP, TOP) == TOP - 1
    assert ticks.add(0, -1) == TOP
    assert ticks.add(3, -5) == TOP - 1
    assert ticks.add(0, 0) == 0 and ticks.add(TOP, 0) == TOP


def test_diff_across_the_wrap():
    assert ticks.diff(12, 5) == 7 and ticks.diff(5, 12) == -7
    assert ticks.diff(2, TOP) == 3 and ticks.diff(TOP, 2) == -3
    half = 1 << 29
    assert ticks.diff(half - 1, 0) == half - 1
    assert ticks.diff(half, 0) == -half
    for start in (0, 1, half, TOP - 3, TOP):
        for us in (-half, -1000, -1, 0, 1, 999999, half - 1):
            assert ticks.diff(ticks.add(start, us), start) == us


def test_sequence_numbers():
    last = 0xFFFFFFFF
    assert ticks.seq_after(1, 0) and not ticks.seq_after(0, 1) and not ticks.seq_after(5, 5)
    assert ticks.seq_after(0, last) and not ticks.seq_after(last, 0)
    assert ticks.seq_distance(last, 2) == 3 and ticks.seq_distance(2, last) == -3
    assert ticks.seq_distance(10, 10) == 0
    assert ticks.seq_after(0x7FFFFFFF, 0) and not ticks.seq_after(0x80000001, 0)
    assert not ticks.seq_after(0x80000000, 0) and not ticks.seq_after(0, 0x80000000)  # half way round is neither
    assert ticks.seq_distance(0, 0x7FFFFFFF) == 0x7FFFFFFF and ticks.seq_distance(0, 0x80000000) == -0x80000000
