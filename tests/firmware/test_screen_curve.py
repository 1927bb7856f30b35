"""The curve of the last pull on the screen: when it is shown, and what it shows. Runs under MicroPython."""

import car
import micropython
from looks import has, page, pulled

from panel import screen


def test_after_a_pull_its_curve_then_lambda_again():
    one = pulled()
    assert page(one) == screen.CURVE
    assert has(one, "#1", 0, 1) and has(one, "at 5150", 72, 1)
    assert has(one, "3000", 34, 56) and has(one, "7000", 96, 56)
    one.drive(18, car.cruise)
    assert page(one) == screen.CURVE
    one.drive(3, car.cruise)
    assert page(one) == screen.LIVE


def test_the_curve_is_what_was_driven():
    one = pulled()
    made = one.panel.screen.curve
    assert made.number == 1
    worst = made.leanest()
    assert 5100 <= made.middle_rpm(worst) <= 5300
    for at in range(96):
        if made.counts[at] and not 4600 <= made.middle_rpm(at) <= 5800:
            assert 795 <= made.value(at) <= 812 and 798 <= made.want(at) <= 808
    assert made.value(worst) >= 1000


def test_a_press_ends_the_curve():
    one = pulled()
    one.drive(0.5, car.cruise, [0.1])
    assert page(one) == screen.LIVE and has(one, "PULL")


def test_a_spoiled_pull_says_so_and_keeps_its_curve():
    one = pulled()
    one.drive(10, car.cruise)
    one.drive(1, car.cruise, [0.1, 0.35])
    assert page(one) == screen.CURVE
    assert has(one, "#1", 0, 1) and has(one, "SPOILED") and has(one, "at 5150")


def test_a_pull_without_load_says_so():
    one = car.Car()
    one.drive(2, car.cruise)
    one.drive(3, car.cruise, [0.0, 2.0])
    assert page(one) == screen.CURVE and has(one, "#1", 0, 1) and has(one, "under load")


def test_a_pull_without_load_does_not_show_the_last_ones_curve():
    one = pulled()
    one.drive(3, car.cruise, [0.5, 2.0])
    assert page(one) == screen.CURVE and has(one, "#2", 0, 1) and has(one, "under load")


def test_a_very_quick_double_press_is_told_too():
    one = pulled()
    one.drive(5, car.cruise)
    one.drive(1, car.cruise, [0.1, 0.24])
    assert page(one) == screen.CURVE and has(one, "#1", 0, 1) and has(one, "SPOILED")


def test_a_long_press_leaves_the_curve():
    one = pulled()
    one.drive(22, car.cruise)
    one.button.change(True, one.board.now)
    one.drive(2, car.cruise)
    assert one.marks.stop_wanted and one.panel.screen.curve.number == 1 and one.panel.screen.curve.leanest() > 0


def test_standing_shows_curve_and_health_by_turns():
    one = pulled()
    one.drive(30, car.cruise)
    seen = []
    for _ in range(18):
        one.drive(1, lambda t: {"rpm": 0.0})
        now = page(one)
        if not seen or seen[-1] != now:
            seen.append(now)
        if now == screen.HEALTH:
            assert has(one, "HEALTH", 1, 1) and has(one, "lost rows") and has(one, "card ok")
    assert screen.CURVE in seen and screen.HEALTH in seen and screen.LIVE in seen


def test_drawing_allocates_nothing_but_the_curve_a_little():
    one = pulled()
    shown = one.panel.screen
    for at in (screen.LIVE, screen.HEALTH, screen.OUT):
        micropython.heap_lock()
        try:
            shown._draw(at)
            shown.turn()
            shown._choose()
        finally:
            micropython.heap_unlock()
    import gc

    gc.collect()
    gc.threshold(-1)
    before = gc.mem_alloc()
    shown._draw(screen.CURVE)
    assert gc.mem_alloc() - before <= 256, gc.mem_alloc() - before
