"""Lamp patterns are told apart by their rhythm. Runs under MicroPython."""

from panel import lamp
from shared_math import layout


def rhythm(one, seconds=8):
    return "".join(["1" if one.lit(ms) else "0" for ms in range(0, seconds * 1000, 50)])


def test_every_state_has_a_rhythm_of_its_own():
    seen = {}
    for state in (
        layout.LAMP_OFF,
        layout.LAMP_RECORDING,
        layout.LAMP_MARKING,
        layout.LAMP_LEAN,
        layout.LAMP_CARD_OUT,
        layout.LAMP_FAULT + 1,
        layout.LAMP_FAULT + 2,
        layout.LAMP_FAULT + 12,
    ):
        one = lamp.Lamp()
        one.state = state
        seen[rhythm(one)] = state
    assert len(seen) == 8


def test_fault_number_can_be_counted():
    one = lamp.Lamp()
    one.state = layout.LAMP_FAULT + 23
    cycle_ms = 2 * 1000 + 3 * 600 + 2000
    flashes = []
    for ms in range(0, cycle_ms, 10):
        if one.lit(ms) and not one.lit(ms - 10 if ms else cycle_ms - 10):
            flashes.append(0)
        if one.lit(ms):
            flashes[-1] += 10
    assert flashes == [600, 600, 200, 200, 200]


def test_marking_comes_before_a_fault_and_the_card_before_all():
    one = lamp.Lamp()
    one.fault = 3
    one.show(True, False, False)
    assert one.state == layout.LAMP_FAULT + 3
    one.show(True, True, False)
    assert one.state == layout.LAMP_MARKING
    one.show(False, True, True)
    assert one.state == layout.LAMP_CARD_OUT
