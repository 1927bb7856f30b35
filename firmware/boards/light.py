"""The lamp's pin, driven by a timer from the first moment, so that its pattern is even whatever the program waits
for."""

import sys
import time

import machine

_PERIOD_MS = 16
# Every pattern is (milliseconds of a step, steps)
NO_CARD = (125, b"\1\0")
# fault 28, as panel/lamp.py shows it
NO_VOLUME = (200, b"\1\1\1\0\0" * 2 + b"\1\0\0" * 8 + bytes(10))
STARTING = (250, b"\1\0\1\0\0\0\0\0")


class Light:
    """`pattern`: the pattern to show. options: arguments of the timer's init."""

    def __init__(self, pin, timer, **options):
        self.pattern = STARTING
        self.pin = machine.Pin(pin, machine.Pin.OUT, value=1)
        self.timer = machine.Timer(timer)
        self.timer.init(period=_PERIOD_MS, mode=machine.Timer.PERIODIC, callback=self.tick, **options)

    def tick(self, _timer):
        """Timer handler: allocates nothing."""
        step_ms, steps = self.pattern
        self.pin.value(steps[time.ticks_ms() // step_ms % len(steps)])  # pyright: ignore[reportOperatorIssue]


_made = []


def the_one():
    """The board's only lamp, lit by the first call."""
    if not _made:
        from boards import pin_table

        pin = pin_table.for_port(sys.platform)["lamp"]
        if sys.platform == "rp2":
            _made.append(Light(pin, -1, hard=True))
        elif sys.platform == "esp32":
            _made.append(Light(pin, 1))  # 0 takes the rows
        else:
            _made.append(Light(pin, -1))
    return _made[0]
