"""The paced PIO of the emulated RP2040 does in one go what it would do cycle by cycle."""

from __future__ import annotations

import mends
import pytest
from rp2040py.rp2040 import RP2040

WORDS = {
    "rising": ([65, 192, 196, 66, 41161, 32768, 0], 12544),
    "falling": ([194, 64, 67, 194, 41161, 32768, 0], 4096),
}
PIO0 = 0x50200000
EXECCTRL, SHIFTCTRL, CTRL, MEMORY, FIFO = 0x0CC, 0x0D0, 0x000, 0x048, 0x020
PIN = 15
HELD = 8


class Clock:
    """Moved by hand; no alarm ever rings."""

    nanos = 0.0

    def create_alarm(self, _act):
        class Alarm:
            def schedule(self, _nanos):
                pass

        return Alarm()


def stamps(names: list[str], step_cycles: int) -> list[list[int]]:
    """The words that programs push for edges at odd times, where somebody looks every so many cycles."""
    chip = RP2040()
    chip.simulator = object()  # somebody drives it
    clock = Clock()
    chip.gpio[PIN].pad_value |= 1 << 6  # it is an input
    pio = mends.PacedPio(chip.pio[0], clock)
    at = 0
    for number, name in enumerate(names):
        words, control = WORDS[name]
        for n, word in enumerate(words):  # a jump's target is counted from the program's beginning
            pio.write_uint32(MEMORY + 4 * (at + n), word + at if word < 0x2000 else word)
        ends = (control >> 12 & 31) + at << 12 | (control >> 7 & 31) + at << 7
        pio.write_uint32(EXECCTRL + 0x18 * number, ends | PIN << 24)
        pio.write_uint32(SHIFTCTRL + 0x18 * number, 1 << 31)
        machine = chip.pio[0].machines[number]
        machine.x, machine.pc = 0xFFFFFFFF, at
        at += len(words)
    pio.write_uint32(CTRL, (1 << len(names)) - 1)
    changes = [731, 1702, 2113, 4444, 5001, 7777, 9998, 10001, 15555, 19000]
    cycles = 0
    for n, change in enumerate([*changes, 20000]):
        while cycles < change:
            cycles = min(change, cycles + step_cycles)
            clock.nanos = cycles * mends.NANOS_PER_CYCLE
            pio.catch_up()
        chip.gpio[PIN].set_input_value(n % 2 == 0)
    return [pio.block.machines[number].rx_fifo.items for number in range(len(names))]


@pytest.mark.parametrize("names", [["rising"], ["falling"], ["rising", "falling"]])
def test_looking_seldom_sees_the_same_as_looking_at_every_cycle(names):
    seldom, always = stamps(names, 100_000), stamps(names, 1)
    assert seldom == always and all(len(one) >= 4 for one in seldom)
