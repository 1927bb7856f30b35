"""The lambda that is wanted."""

from shared_math.target import lambda_target

LOADS = {"load": "map", "load_kpa": [40, 100, 200], "lambda": [1.0, 0.88, 0.79]}
TABLE = {"load": "map", "load_kpa": [50, 150], "rpm": [2000, 6000], "lambda": [[1.0, 0.9], [0.96, 0.8]]}


def near(a, b):
    return a is not None and abs(a - b) < 1e-6


def test_nothing_wanted():
    assert lambda_target(None, 100, 3000) is None


def test_one_number():
    assert lambda_target({"lambda": 0.85}) == 0.85
    assert lambda_target({"lambda": 0.85}, None, None, None) == 0.85


def test_by_load_ends_held():
    for load, wanted in ((40, 1.0), (70, 0.94), (100, 0.88), (150, 0.835), (200, 0.79), (20, 1.0), (260, 0.79)):
        assert near(lambda_target(LOADS, load), wanted), load
    assert lambda_target(LOADS, None) is None
    assert lambda_target(LOADS, float("nan")) is None


def test_by_load_and_speed():
    for load, rpm, wanted in (
        (50, 2000, 1.0),
        (150, 6000, 0.8),
        (100, 2000, 0.95),
        (100, 6000, 0.88),
        (100, 4000, 0.915),
        (0, 0, 1.0),
        (300, 9000, 0.8),
        (300, 0, 0.9),
    ):
        assert near(lambda_target(TABLE, load, rpm), wanted), (load, rpm)
    assert lambda_target(TABLE, 100, None) is None
    assert lambda_target(TABLE, 100, float("nan")) is None


def test_first_that_holds():
    listed = [
        {"when": {"channel": "map_switch", "is": 1}, "lambda": 0.78},
        {"when": {"channel": "coolant", "is": [-40, 60]}, "lambda": 0.9},
        {"when": {"channel": "controller", "is": "warm_up"}, "lambda": 0.95},
        LOADS,
    ]
    assert lambda_target(listed, 100, 3000, {"map_switch": 1, "coolant": 20}) == 0.78
    assert lambda_target(listed, 100, 3000, {"map_switch": 0, "coolant": 20}) == 0.9
    assert lambda_target(listed, 100, 3000, {"coolant": 60.0}) == 0.9
    assert lambda_target(listed, 100, 3000, {"controller": "warm_up", "coolant": "open"}) == 0.95
    assert near(lambda_target(listed, 100, 3000, {"map_switch": 0, "coolant": 80}), 0.88)
    assert near(lambda_target(listed, 100, 3000, None), 0.88)
    assert lambda_target(listed[:1], 100, 3000, {"map_switch": 0}) is None
