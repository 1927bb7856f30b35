"""A `machine` module for boards that nobody emulates: pins, converters, buses and timers that only remember."""

import sys


class Pin:
    IN, OUT, PULL_UP, IRQ_RISING, IRQ_FALLING = range(5)
    made = {}

    def __init__(self, number, mode=None, pull=None, value=None):
        self.number = number
        self.level = value or 0
        self.handlers = []
        Pin.made[number] = self

    def value(self, level=None):
        if level is None:
            return self.level
        self.level = level

    __call__ = value

    def irq(self, handler, trigger, **options):
        self.handlers.append((handler, trigger, options))


class ADC:
    ATTN_11DB = 3
    uv = {}
    u16 = {}

    def __init__(self, pin, atten=None):
        self.number = pin.number

    def read_uv(self):
        return ADC.uv[self.number]

    def read_u16(self):
        return ADC.u16[self.number]


class PWM:
    made = {}

    def __init__(self, pin):
        self.told = []
        PWM.made[pin.number] = self

    def freq(self, hz):
        self.told.append(("hz", hz))

    def duty_u16(self, share):
        self.told.append(("share", share))

    def deinit(self):
        self.told.append(("off",))


class SPI:
    answers = {}  # select pin -> three bytes of the answer

    def __init__(self, number, **options):
        self.number = number

    def init(self, **options):
        pass

    def write_readinto(self, out, answer):
        for number, data in SPI.answers.items():
            if Pin.made[number].level == 0:
                answer[:] = data
                return
        answer[:] = b"\xff\xff\xff"


class I2C:
    def __init__(self, number, **options):
        pass

    def writeto(self, address, data):
        raise OSError(19)

    readfrom_into = writeto


class Timer:
    PERIODIC = 1
    made = None

    def __init__(self, number):
        Timer.made = self
        self.number = number

    def init(self, **options):
        self.options = options


class SDCard:
    there = True
    fails = False

    def __init__(self, slot, width):
        self.where = slot, width
        self.image = bytearray(8 * 512)

    def ioctl(self, op, _arg):
        if op == 1:
            return 0 if SDCard.there else -1
        return 8

    def readblocks(self, n, buf):
        buf[:] = self.image[512 * n : 512 * n + len(buf)]
        return not SDCard.fails

    def writeblocks(self, n, buf):
        if not SDCard.fails:
            self.image[512 * n : 512 * n + len(buf)] = buf
        return not SDCard.fails

    def deinit(self):
        self.where = None


def install():
    """Let `import machine` find this module."""
    sys.modules["machine"] = sys.modules[__name__]
