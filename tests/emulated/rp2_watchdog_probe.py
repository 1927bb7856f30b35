"""Runs on the emulated RP2040 as main.py: its board's watchdog fed, stopped, and left alone."""

import time

import machine

from boards import rp2
from drivers import rp2_chip


class Bare:
    """A board of which nothing is there but its watchdog."""


def enabled():
    return machine.mem32[0x40058000] >> 30 & 1  # CTRL (RP2040 datasheet, 4.7)


print("START", machine.reset_cause() == machine.WDT_RESET, enabled())
bare = Bare()
bare.chip = rp2_chip.of("rp2")
rp2.Rp2Board.watch(bare)
for _ in range(4):
    time.sleep_ms(3000)
    bare.feed()
print("FED", enabled())
rp2.Rp2Board.unwatch(bare)
time.sleep_ms(9000)
print("STOPPED", enabled())
rp2.Rp2Board.watch(bare)
time.sleep_ms(9000)
print("LEFT ALONE")
