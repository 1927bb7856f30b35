"""Pulses, speed, duty and check values of the checksum."""

import binascii
import math
import random
import zlib

import pytest

from shared_math import speed


@pytest.mark.parametrize(("per_rev", "hertz"), [(2, 200), (4, 400), (0.5, 50)])
def test_six_thousand(per_rev, hertz):
    # rpm = 60 f / k, by definition; k: half the cylinders of a four-stroke, 0.5 for one coil on one plug
    assert speed.rpm(hertz, per_rev, 1_000_000) == pytest.approx(6000)


def test_synchronous_machine():
    # n = 120 f / poles (Fitzgerald, Kingsley and Umans, Electric Machinery, chapter on synchronous machines): 60 Hz, 4
    # poles; a pole pair is one pulse a turn
    assert speed.rpm(60, 4 / 2, 1_000_000) == pytest.approx(120 * 60 / 4)


def test_quantisation_of_one_period():
    # Worst error rpm^2 k dt / 60, rms worst / sqrt(6): two edges each rounded to 1 us, triangular distribution
    generator = random.Random(7)
    worst = 6000**2 * 2 * 1e-6 / 60
    assert worst == pytest.approx(1.2)
    errors = []
    for _ in range(20_000):
        edge = generator.random() * 1000
        period_us = 5000 + generator.random()  # any speed beside it
        got = speed.rpm(1, 2, math.floor(edge + period_us) - math.floor(edge))
        errors.append(got - 60e6 / (2 * period_us))
    assert max(abs(error) for error in errors) <= worst * 1.001
    rms = math.sqrt(sum(error * error for error in errors) / len(errors))
    assert rms == pytest.approx(worst / math.sqrt(6), rel=0.03)


def test_duty():
    # on-time (ms) * rpm / 1200: one injection in two turns, 120 / rpm seconds (kinematics)
    for on_ms, rpm in ((10, 6000), (17, 6000), (2.5, 800)):
        assert speed.duty_percent(on_ms, rpm) == pytest.approx(100 * on_ms / (1000 * 120 / rpm))


def test_crc_check_values():
    # CRC-32 of '123456789': catalogue of parametrised CRC algorithms; bytes 0 to 255: computed with zlib elsewhere
    assert binascii.crc32(b"123456789") == 0xCBF43926 == zlib.crc32(b"123456789")
    assert binascii.crc32(bytes(range(256))) == 0x29058C73
