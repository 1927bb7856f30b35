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


def test_by_throttle_and_at_the_points_themselves():
    by_throttle = {"load": "throttle", "load_pct": [20, 60, 100], "lambda": [1.0, 0.9, 0.8]}
    for load, wanted in ((20, 1.0), (30, 0.975), (60, 0.9), (61, 0.8975), (100, 0.8), (0, 1.0)):
        assert near(lambda_target(by_throttle, load), wanted), load
    three = {
        "load": "map",
        "load_kpa": [0, 100],
        "rpm": [1000, 3000, 4000],
        "lambda": [[1, 0.9], [0.9, 0.8], [0.8, 0.7]],
    }
    for load, rpm, wanted in ((0, 3000, 0.9), (100, 3500, 0.75), (50, 2000, 0.9), (50, 3001, 0.8499)):
        assert near(lambda_target(three, load, rpm), wanted), (load, rpm)
    assert lambda_target(three, None, 3000) is None and lambda_target(three, -5, 1000) == 1


def test_when_nothing_is_known_nothing_holds():
    shut = [{"when": {"channel": "door", "is": 0}, "lambda": 0.9}]
    assert lambda_target(shut, channels={"door": 0}) == 0.9
    assert lambda_target(shut, channels={"door": None}) is None and lambda_target(shut, channels={}) is None
    between = [{"when": {"channel": "coolant", "is": [-40, 60]}, "lambda": 0.9}]
    for value, holds in ((-40, True), (-41, False), (60, True), (61, False), ("open", False)):
        assert (lambda_target(between, channels={"coolant": value}) == 0.9) == holds, value
