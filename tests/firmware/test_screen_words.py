"""Faults, sentences and figures on the screen. Runs under MicroPython."""

import car
import framebuf
from looks import has, page, pulled

from acquire import marks
from panel import curve, digits, screen


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


def test_an_empty_curve_and_one_of_a_single_point():
    frame = framebuf.FrameBuffer(bytearray(1024), 128, 64, framebuf.MONO_VLSB)
    made = curve.Curve(9000)
    made.draw(frame, False)
    made.add(20000, 850, None)
    assert made.leanest() == 95
    made.draw(frame, True)
