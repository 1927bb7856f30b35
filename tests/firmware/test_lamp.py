"""Lamp patterns are told apart by their rhythm, and what is told comes first. Runs under MicroPython."""

import fake_board

fake_board.install()

from boards import light  # noqa: E402
from panel import lamp  # noqa: E402
from shared_math import faults, layout  # noqa: E402


class Light:
    pattern = None


def new():
    one = lamp.Lamp(Light())
    one.taken = True
    return one


def lit(pattern, ms):
    step_ms, steps = pattern
    return steps[ms // step_ms % len(steps)] == 1


def rhythm(pattern, seconds=8):
    return "".join(["1" if lit(pattern, ms) else "0" for ms in range(0, seconds * 1000, 25)])


def test_every_state_has_a_rhythm_of_its_own():
    seen = {rhythm(light.NO_CARD)}
    for state in (
        layout.LAMP_OFF,
        layout.LAMP_RECORDING,
        layout.LAMP_MARKING,
        layout.LAMP_LEAN,
        layout.LAMP_CARD_OUT,
        layout.LAMP_STARTING,
        layout.LAMP_ENDED,
        layout.LAMP_FAULT + 1,
        layout.LAMP_FAULT + 2,
        layout.LAMP_FAULT + 12,
    ):
        seen.add(rhythm(lamp.pattern_of(state)))
    assert len(seen) == 11


def test_the_pattern_from_power_on_is_that_of_starting():
    assert light.STARTING == lamp.pattern_of(layout.LAMP_STARTING)
    assert light.NO_VOLUME == lamp.pattern_of(layout.LAMP_FAULT + faults.FAULTS["card_format"][0])
    assert sum([lit(light.STARTING, ms) for ms in range(0, 500, 10)]) > 10


def test_the_timer_shows_the_pattern_and_allocates_nothing():
    import micropython

    one = light.Light(12, -1)
    one.pattern = light.NO_CARD
    seen = bytearray(200)
    clock = Clock()
    light.time = clock
    micropython.heap_lock()
    try:
        for n in range(200):
            clock.ms = 10 * n
            one.tick(None)
            seen[n] = one.pin.level
    finally:
        micropython.heap_unlock()
    assert bytes(seen) == bytes([lit(light.NO_CARD, 10 * n) for n in range(200)])


class Clock:
    def __init__(self):
        self.ms = 0

    def ticks_ms(self):
        return self.ms


def test_fault_number_can_be_counted():
    pattern = lamp.pattern_of(layout.LAMP_FAULT + 23)
    cycle_ms = 2 * 1000 + 3 * 600 + 2000
    flashes = []
    for ms in range(0, cycle_ms, 10):
        if lit(pattern, ms) and not lit(pattern, ms - 10 if ms else cycle_ms - 10):
            flashes.append(0)
        if lit(pattern, ms):
            flashes[-1] += 10
    assert flashes == [600, 600, 200, 200, 200]


def test_a_mark_comes_before_a_fault_but_for_one_of_the_card_or_of_lambda_itself():
    one = new()
    one.fault = 3
    one.show()
    assert one.state == layout.LAMP_FAULT + 3
    one.show(marking=True)
    assert one.state == layout.LAMP_MARKING
    one.reading = 48
    one.show(marking=True)
    assert one.state == layout.LAMP_FAULT + 48 and one.number() == 48, "a pull by a lambda that is not true"
    one.card = 24
    one.show(marking=True)
    assert one.state == layout.LAMP_FAULT + 24 and one.light.pattern == lamp.pattern_of(layout.LAMP_FAULT + 24)
    one.show(marking=True, lean=True)
    assert one.state == layout.LAMP_LEAN


def test_it_does_not_say_that_it_records_before_something_is_written():
    one = new()
    one.taken = False
    one.show()
    assert one.state == layout.LAMP_STARTING
    one.taken = True
    one.show()
    assert one.state == layout.LAMP_RECORDING
