"""The external converters that the configuration names, on the pins that the wiring table gives them."""

import machine

from drivers import ads1115, mcp33
from shared_math import converters, ticks
from shared_math.compat import const

_LOOK_US = const(10000000)  # an input that reads 0 for so long may be one where nothing answers


class Fitted:
    """fitted: letter -> part. pins: the wiring table's. i2c: function that gives the bus. ticks_us: the board's clock."""

    def __init__(self, fitted, pins, i2c, ticks_us):
        self.fitted = fitted
        self.pins = pins
        self.i2c = i2c
        self.ticks_us = ticks_us
        self.spi = None
        self.chips = {}
        self.slow = []
        self.held = {}
        self.order = {}  # input -> its turn in a row
        self.looked = ticks_us()

    def converter(self, name):
        """(bits, volts from the lowest to the highest count, skew in microseconds) of an input."""
        part = self.fitted[name[0]]
        bits, span_v = converters.scale(part, self.pins["converters"][name[0]]["reference_v"])
        if converters.slow(part):
            return bits, span_v, 0
        self.order.setdefault(name, len(self.order))
        return bits, span_v, self.order[name] * mcp33.READ_US

    def row_us(self, config):
        """Microseconds that a row's readings take, of all inputs that are measured for it."""
        names = [one["input"] for one in config["channels"] if one["input"][0] in converters.LETTERS]
        return mcp33.READ_US * len([name for name in names if not converters.slow(self.fitted[name[0]])])

    def reader(self, name):
        """A function without arguments that gives the input's counts: measured now, or the last that was held."""
        letter, plus, minus = converters.parse(name)  # pyright: ignore[reportGeneralTypeIssues]
        chip = self._chip(letter)
        if chip not in self.slow:
            return chip.reader(plus, minus)
        self.held[name] = chip.input(plus, minus)
        return self.held[name].read

    def age(self, name):
        """A function without arguments: milliseconds since the held value of an input was measured."""
        return self.held[name].age

    def _chip(self, letter):
        if letter not in self.chips:
            part = self.fitted[letter]
            place = self.pins["converters"][letter]
            if converters.slow(part):
                self.chips[letter] = ads1115.Ads1115(self.i2c(), place["address"], self.ticks_us)
                self.slow.append(self.chips[letter])
            else:
                if self.spi is None:
                    self.spi = mcp33.bus(self.pins["converter_spi"])
                kind = mcp33.Mcp3304 if part == "mcp3304" else mcp33.Mcp3208
                self.chips[letter] = kind(self.spi, machine.Pin(place["cs"], machine.Pin.OUT, value=1))
        return self.chips[letter]

    def step(self):
        """Once a turn of the main loop. Whether a converter was found not to answer."""
        for chip in self.slow:
            chip.step()
        now = self.ticks_us()
        if (now - self.looked) & ticks.MASK < _LOOK_US:
            return False
        self.looked = now
        for letter in self.chips:
            if self.chips[letter].trouble():
                return True
        return False
