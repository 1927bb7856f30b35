"""The screen's pages: which one when, and what stands on it. The glass is a frame in memory. Runs under MicroPython."""

import car
import framebuf
import micropython

from acquire import marks
from panel import curve, digits, screen


def page(one):
    one.show()
    return one.panel.screen.page


def has(one, text, x=None, y=None):
    """Whether the text stands on the glass, in either colour: anywhere, or at (x, y)."""
    width = 8 * len(text)
    pattern = framebuf.FrameBuffer(bytearray(width), width, 8, framebuf.MONO_VLSB)
    pattern.text(text, 0, 0)
    glass = framebuf.FrameBuffer(one.glass.shown, 128, 64, framebuf.MONO_VLSB)
    for top in range(57) if y is None else (y,):
        for left in range(129 - width) if x is None else (x,):
            if alike(glass, left, top, pattern, width, 0) or alike(glass, left, top, pattern, width, 1):
                return True
    return False


def alike(glass, left, top, pattern, width, turned):
    """Whether the pattern stands there; turned 1: dark on light. Without lists, for which the heap may have no room."""
    for py in range(8):
        for px in range(width):
            if glass.pixel(left + px, top + py) != pattern.pixel(px, py) ^ turned:
                return False
    return True


def large_at(one, milli, colour=1):
    """Whether the large figures show this lambda."""
    wanted = framebuf.FrameBuffer(bytearray(1024), 128, 64, framebuf.MONO_VLSB)
    if not colour:
        wanted.fill(1)
    digits.large(wanted, milli, 0, 12, colour)
    glass = framebuf.FrameBuffer(one.glass.shown, 128, 64, framebuf.MONO_VLSB)
    for x in range(76):
        for y in range(12, 52):
            if glass.pixel(x, y) != wanted.pixel(x, y):
                return False
    return True


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


def pulled(hole=0.15):
    one = car.Car()
    one.drive(2, car.cruise)
    one.drive(5.6, car.pull(hole), [0.0])
    one.drive(1, car.cruise, [0.1])
    return one


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


def test_a_fault_of_the_configuration_in_words():
    text = b'{"version": 1, "rate_hz": 200, "channels": [{"name": "map", "input": "a1", "kind": "liner"}]}'
    one = car.Car(text=text)
    assert one.plan.faults == [12]
    seen = []
    for _ in range(14):
        one.drive(1, lambda t: {"rpm": 900.0})
        if page(one) == screen.FAULT:
            seen.append(one.now)
            assert has(one, "FAULT", 1, 1) and has(one, "12", 56, 1)
            assert has(one, "channel 1", 0, 11) and has(one, "kind", None, None)
    assert seen


def test_a_fault_of_the_brackets_in_words():
    one = car.Car(text=b'{"version": 1,\n "rate_hz" 200}')
    for line in ("logger.json:", "line 2:"):
        assert line in " ".join(screen.wrapped(one.plan.words[12]))


def test_no_configuration_in_words():
    one = car.Car(text=b"")
    assert "empty" in one.plan.words[12]


def test_the_card_may_be_taken_out():
    one = car.Car()
    one.drive(1, car.cruise)
    one.panel.stop(True)
    for _ in range(70):
        one.board.now += 5000
        one.panel.waiting()
    assert has(one, "NOT RECORDING", 1, 1) and has(one, "taken out.")


def test_a_new_session_begins_with_a_clean_glass():
    one = pulled()
    one.drive(1, car.cruise, [0.1, 0.35])
    one.panel.stop(True)
    one.marks = one.sampler.marks = marks.Marks(one.button, 200)
    one.tach.count = 0
    one.sampler.row = 0
    one.panel.begin(one)
    one.drive(1.5, car.cruise)
    assert page(one) == screen.LIVE and has(one, "REC", 0, 1)
    assert abs(one.panel.live.rpm - 2500) <= 10


def test_sentences_are_cut_to_the_glass():
    long = "every word of this sentence is far too long for a glass as small as this one here is, and so it ends"
    lines = screen.wrapped(long)
    assert len(lines) == 6 and all([len(line) <= 16 for line in lines]) and lines[-1].endswith("..")
    assert screen.wrapped("") == ("",)
    assert screen.wrapped("abcdefghijklmnopqrstuvwxyz") == ("abcdefghijklmnop", "qrstuvwxyz")
    assert screen.wrapped("a short one") == ("a short one",)


def test_numbers():
    frame = framebuf.FrameBuffer(bytearray(1024), 128, 64, framebuf.MONO_VLSB)
    for value, decimals, text in ((0, 0, "0"), (7, 2, "0.07"), (-3, 2, "-0.03"), (12345, 0, "12345"), (100, 2, "1.00")):
        frame.fill(0)
        assert digits.small(frame, value, 128, 0, decimals) == 128 - 8 * len(text)
        drawn = bytes([frame.pixel(x, y) for y in range(8) for x in range(128)])
        frame.fill(0)
        frame.text(text, 128 - 8 * len(text), 0)
        assert drawn == bytes([frame.pixel(x, y) for y in range(8) for x in range(128)]), text


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


def test_an_empty_curve_and_one_of_a_single_point():
    frame = framebuf.FrameBuffer(bytearray(1024), 128, 64, framebuf.MONO_VLSB)
    made = curve.Curve(9000)
    made.draw(frame, False)
    made.add(20000, 850, None)
    assert made.leanest() == 95
    made.draw(frame, True)
