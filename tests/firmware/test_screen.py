"""The screen's pages while the car drives: which one when, and what stands on it. Runs under MicroPython."""

import car
from looks import has, large_at, page

from panel import screen


def test_driving_shows_lambda_speed_and_load():
    one = car.Car()
    one.drive(3, lambda t: {"rpm": 2500.0, "map": 45.0, "lambda_1": 0.976})
    assert page(one) == screen.LIVE
    assert large_at(one, 980) and not large_at(one, 970)
    assert has(one, "REC", 0, 1) and has(one, "0:03", 96, 1)
    assert has(one, "2500rpm", 8, 56) and has(one, "45kPa", 88, 56)
    assert has(one, "target", 80, 12) and has(one, "0.99", 92, 24) and has(one, "-0.01", 84, 40)


def test_a_controller_that_heats_is_told_by_its_state():
    one = car.Car()
    one.drive(3, lambda t: {"rpm": 900.0, "map": 35.0, "lambda_1": "warm-up"})
    one.show()
    assert has(one, "warm-up", 0, 14) and large_at(one, None) is False  # the name stands over it
    assert not has(one, "target")


def test_the_end_of_the_range_is_said():
    one = car.Car({"target": {"lambda": 0.9}, "lean_warning": False})
    one.drive(3, lambda t: {"rpm": 2500.0, "map": 45.0, "lambda_1": 1.4})
    one.show()
    assert has(one, "at end", 80, 12)


def test_a_missing_target_is_said():
    settings = dict(car.CONFIG)
    del settings["target"], settings["lean_warning"]
    import json

    one = car.Car(text=json.dumps(settings).encode())
    one.drive(3, lambda t: {"rpm": 2500.0, "map": 45.0, "lambda_1": 0.99})
    one.show()
    assert has(one, "no", 84, 16) and has(one, "target", 80, 26) and has(one, "45kPa")


def test_a_pull_and_lean():
    one = car.Car()
    one.drive(2, car.cruise)
    one.drive(3.4, car.pull(0.15), [0.0])
    one.show()
    assert one.panel.lean and has(one, "LEAN", 84, 12) and has(one, "PULL", 1, 1) and has(one, "1", 40, 1)
    assert has(one, "3s", 112, 1)
    assert large_at(one, one.panel.live.leaner(), 0)


def test_a_lambda_that_is_not_true_is_told_during_a_pull_too():
    """Two seconds each by turns; where it warns of lean, lean stays."""
    one = car.Car()
    one.drive(2, car.cruise)
    one.panel.lamp.reading = 48
    one.drive(0.3, car.pull(), [0.0])
    pages = []
    for lean in (False, True):
        for _ in range(5):
            one.drive(0.8, lambda t: {"rpm": 3000.0, "map": 185.0, "lambda_1": 0.80})
            one.panel.lean = lean
            pages.append(page(one))
    assert one.panel.marks.open and {screen.FAULT, screen.LIVE} == set(pages[:5])
    assert set(pages[5:]) == {screen.LIVE}
