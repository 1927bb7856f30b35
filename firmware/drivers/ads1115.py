"""ADS1115 on I2C: 16 bits and sign, read from the main loop one conversion at a time, every value held with its age.

Registers and times: data sheet SBAS444. A conversion at 860 a second takes 1.16 ms, 10 % more at most. The
configuration register is read back each time: it tells that the chip is there, that it is done, and that it measured
what was asked.
"""

from acquire import held
from shared_math import ticks
from shared_math.compat import const

_CONVERSION = const(0)
_CONFIG = const(1)
_START = const(0x80)  # written: start; read: done
_RANGE = const(0x03)  # +-4.096 V, one conversion
_RATE = const(0xE3)  # 860 a second, comparator off
_WAIT_US = const(1400)
_LATEST_US = const(50000)  # no conversion takes so long: the chip was reset or is gone
_REST_US = const(1000000)  # after an error
_MUX = {"0-1": 0, "0-3": 1, "1-3": 2, "2-3": 3}


class Ads1115:
    """i2c: machine.I2C. address: 0x48 to 0x4B. ticks_us: the board's clock."""

    def __init__(self, i2c, address, ticks_us):
        self.i2c = i2c
        self.address = address
        self.ticks_us = ticks_us
        self.inputs = []  # (what is written to start a conversion, Held)
        self.at = 0  # the one being converted
        self.begun = False
        self.since = 0  # of the conversion, or of the error
        self.wait_us = 0
        self.point = bytes([_CONVERSION])
        self.answer = bytearray(2)
        self.absent = False  # the last attempt failed

    def input(self, plus, minus):
        """The held.Held of input `plus` against `minus` (None: ground): counts with 32768 added."""
        mux = 4 + plus if minus is None else _MUX["%d-%d" % (plus, minus)]
        value = held.Held(1 << 15, self.ticks_us)
        self.inputs.append((bytes([_CONFIG, _START | mux << 4 | _RANGE, _RATE]), value))
        return value

    def step(self):
        """Once a turn of the main loop: take what is ready and start the next. Never waits, never raises."""
        now = self.ticks_us()
        if (now - self.since) & ticks.MASK < self.wait_us:
            return
        try:
            if not self.begun or self._take(now):
                self.i2c.writeto(self.address, self.inputs[self.at][0])
                self.since = self.ticks_us()
                self.wait_us = _WAIT_US
                self.begun = True
        except OSError:
            self._fail(now)

    def _take(self, now):
        """Whether the conversion is done; its value is held then."""
        ask, value = self.inputs[self.at]
        answer = self.answer
        self.i2c.readfrom_into(self.address, answer)  # the pointer still stands on the configuration
        if answer[0] | _START != ask[1] or answer[1] != ask[2]:
            self._fail(now)
            return False
        if not answer[0] & _START:
            if (now - self.since) & ticks.MASK > _LATEST_US:
                self._fail(now)
            return False
        self.i2c.writeto(self.address, self.point)
        self.i2c.readfrom_into(self.address, answer)
        value.put((answer[0] << 8 | answer[1]) ^ 0x8000, self.since)
        self.absent = False
        self.at += 1
        if self.at == len(self.inputs):
            self.at = 0
        return True

    def _fail(self, now):
        self.absent = True
        self.begun = False
        self.since = now
        self.wait_us = _REST_US
        for _, value in self.inputs:
            value.look(now)

    def trouble(self):
        """Whether the chip does not answer as it should."""
        return self.absent
