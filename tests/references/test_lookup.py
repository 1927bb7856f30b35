"""Tables and targets against scipy's interpolators."""

import random

import pytest

from shared_math import target, transfer

interpolate = pytest.importorskip("scipy.interpolate", reason="scipy (reference interpolators) is not installed")


def test_table_channel():
    generator = random.Random(3)
    for _ in range(50):
        count = generator.randint(2, 12)
        volts = sorted(generator.sample(range(500), count))
        volts = [v / 100 for v in volts]
        values = [generator.uniform(-50, 400) for _ in volts]
        reference = interpolate.make_interp_spline(volts, values, k=1)
        if generator.random() < 0.5:
            channel = {"kind": "table", "volts": volts, "values": values}
        else:
            channel = {"kind": "table", "volts": volts[::-1], "values": values[::-1]}
        for _ in range(20):
            v = generator.uniform(volts[0], volts[-1])
            assert transfer.to_value(channel, v) == pytest.approx(float(reference(v)), abs=1e-9)


def test_target_table():
    loads, speeds = [40, 80, 150, 220], [1000, 3000, 7500]
    generator = random.Random(5)
    table = [[generator.uniform(0.75, 1.0) for _ in loads] for _ in speeds]
    reference = interpolate.RegularGridInterpolator((speeds, loads), table)
    wanted = {"load": "map", "load_kpa": loads, "rpm": speeds, "lambda": table}
    for _ in range(300):
        load, rpm = generator.uniform(0, 300), generator.uniform(0, 9000)
        held = (min(max(rpm, 1000), 7500), min(max(load, 40), 220))
        assert target.lambda_target(wanted, load, rpm) == pytest.approx(reference(held).item(), abs=1e-9)
