"""Means over the DMA's ring of samples. Runs under MicroPython."""

from array import array

import micropython

from drivers import viper_mean

MOST = 0x8000000


class Samples:
    """A ring of `rounds` times four halfwords, filled as the DMA would."""

    def __init__(self, rounds=128):
        self.ring = array("H", bytes(8 * rounds))
        self.left = array("I", [MOST])
        self.total = 0

    def put(self, value):
        self.ring[self.total % len(self.ring)] = value
        self.total += 1
        self.left[0] = (MOST - self.total) % MOST

    def read(self, rounds, places=((0, 0), (1, 1), (2, 2), (3, 3))):
        means = viper_mean.Means(self.ring, self.left, rounds, places)
        means.state[0] = len(self.ring) - 1  # len() of an array counts halfwords, of the board's buffer bytes
        row = array("i", [-1] * 6)
        assert means.put(row, 1, 0)
        assert row[0] == -1
        return list(row[1:5])


def test_each_input_has_its_own_samples_and_counts_stand_for_the_middle():
    samples = Samples()
    for _ in range(40):
        for value in (100, 1000, 2500, 4000):
            samples.put(value)
    # A 12-bit count c stands for c + 1/2: of 14 bits that is the middle of 4 c + 2, of 13 bits that of 2 c + 1 or below
    assert samples.read(16) == [402, 4002, 10002, 16002]
    assert samples.read(4) == [201, 2001, 5001, 8001]


def test_only_whole_rounds_count():
    samples = Samples()
    for _ in range(20):
        for value in (100, 200, 300, 400):
            samples.put(value)
    samples.put(4095)
    samples.put(4095)
    assert samples.read(4) == [201, 401, 601, 801]


def test_the_newest_rounds_across_the_rings_end_and_the_counters():
    samples = Samples(32)
    samples.total = MOST - 8 * 4
    for n in range(60):
        for value in (n, 0, 4095, 2000 + n):
            samples.put(value)
    mean = sum(range(44, 60)) / 16
    got = samples.read(16)
    assert abs(got[0] - (4 * mean + 1.5)) <= 0.5 and got[1] == 0 and got[2] == 16383
    assert abs(got[3] - (4 * (2000 + mean) + 1.5)) <= 0.5


def test_both_ends_of_the_range_stay_recognisable():
    samples = Samples()
    for _ in range(16):
        for value in (0, 4095, 1, 4094):
            samples.put(value)
    assert samples.read(16) == [0, 16383, 6, 16378]
    assert samples.read(4) == [0, 8191, 3, 8189]


def test_places_in_the_row_may_be_any():
    samples = Samples()
    for _ in range(16):
        for value in (100, 200, 300, 400):
            samples.put(value)
    assert samples.read(4, ((0, 3), (3, 0))) == [801, -1, -1, 201]


def test_reading_allocates_nothing():
    samples = Samples()
    for n in range(256):
        samples.put(n)
    means = viper_mean.Means(samples.ring, samples.left, 16, ((0, 1), (1, 2)))
    row = array("i", [0, 0])
    micropython.heap_lock()
    try:
        means.put(row, 0, 0)
    finally:
        micropython.heap_unlock()
