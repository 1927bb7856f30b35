"""MicroPython: a `machine` that loops the fixture's outputs back to its inputs as the circuit would, then runs it.

Arguments: the fixture's path, ohms of the input's upper and lower resistor as soldered, tach edges lost ("0" or "1").
"""

import sys

path, top, bottom, lost = sys.argv[1], float(sys.argv[2]), float(sys.argv[3]), sys.argv[4] == "1"


INPUT = 26800  # ohms of the lambda input


class Clock:
    now_us = 0
    tach_hz = 0
    share = 0.0
    handler = None

    def sleep_ms(self, ms):
        end = self.now_us + ms * 1000
        while self.tach_hz and self.now_us + 1000000 // self.tach_hz <= end:
            self.now_us += 1000000 // self.tach_hz
            if self.handler and not lost:
                self.handler(None)
        self.now_us = end

    def ticks_us(self):
        return self.now_us


clock = Clock()


class Pin:
    IN = 0
    IRQ_RISING = 1

    def __init__(self, number, _mode=None):
        self.number = number

    def irq(self, handler, _trigger=None):
        clock.handler = handler


class PWM:
    def __init__(self, pin):
        self.is_tach = pin.number == 2

    def freq(self, hertz):
        if self.is_tach:
            clock.tach_hz = hertz

    def duty_u16(self, duty):
        if not self.is_tach:
            clock.share = duty / 65535

    def deinit(self):
        clock.tach_hz = 0


class ADC:
    def __init__(self, _pin):
        pass

    def read_u16(self):
        return int(clock.share * INPUT / (INPUT + 1000) * bottom / (top + bottom) * 65535)


class Machine:
    pass


machine = Machine()
machine.Pin, machine.PWM, machine.ADC = Pin, PWM, ADC
sys.modules["machine"] = machine
sys.modules["time"] = clock
with open(path) as f:
    exec(f.read(), {"__name__": "__main__"})
