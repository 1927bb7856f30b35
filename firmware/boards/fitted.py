"""The external converters that the configuration names, on the pins that the wiring table gives them."""

import machine

from shared_math import ticks
from shared_math.compat import const

_BUS_HZ = const(8000000)  # where no converter shares the SPI; beside one, its own slower clock
_LOOK_US = const(10000000)  # an input that reads 0 for so long may be one where nothing answers


def bus_port(plan, board):
    """The bus controller that the configuration names. plan: bus.plan.BusPlan. board: what it is fitted to."""
    if plan.chip == "own":
        from drivers import own_can

        return own_can.OwnCan(1, board.ticks_us)
    places = board.pins["bus"]
    pins = board.pins["converter_spi"]
    spi = board.fitted.spi if board.fitted else None
    if spi is None:
        clock, ask, answer = [machine.Pin(pins[name]) for name in ("sck", "mosi", "miso")]
        spi = machine.SPI(pins["id"], baudrate=_BUS_HZ, sck=clock, mosi=ask, miso=answer)
    cs = machine.Pin(places["cs"], machine.Pin.OUT, value=1)
    interrupt = machine.Pin(places["int"], machine.Pin.IN, machine.Pin.PULL_UP)
    if plan.chip == "mcp2515":
        from drivers import mcp2515

        kind = mcp2515.Mcp2515
    else:
        from drivers import mcp2518fd

        kind = mcp2518fd.Mcp2518fd
    return kind(spi, cs, interrupt, board.ticks_us, plan.crystal_mhz, board.irq_options)


class Fitted:
    """config: whole. pins: the wiring table's. i2c: function that gives the bus. ticks_us: the board's clock.
    read_us: what a reading in the row path takes, where not as long as drivers/mcp33.py needs."""

    def __init__(self, config, pins, i2c, ticks_us, read_us=0):
        from shared_math import converters  # the memory of it is given back before the recording begins

        self.pins = pins
        self.i2c = i2c
        self.ticks_us = ticks_us
        self.parts = config["converters"]
        self.spi = None
        self.chips = {}
        self.slow = []  # those chips that are read in the main loop
        self.held = {}
        self.looked = ticks_us()
        self.places = {}  # input -> letter, plus, minus
        self.specs = {}  # input -> bits, volts from the lowest to the highest count, skew in microseconds
        self.row_us = 0  # what a row's readings take, of all inputs that are measured for it
        for channel in config["channels"]:
            name = channel.get("input", "a")
            if name[0] in converters.LETTERS:
                part = self.parts[name[0]]
                self.places[name] = converters.parse(name)
                own_v = pins["converters"][name[0]]["reference_v"]
                scale = converters.scale(part, config.get("reference_v", own_v))
                if converters.slow(part):
                    self.specs[name] = scale + (0,)
                else:
                    from drivers import mcp33

                    self.specs[name] = scale + (self.row_us,)
                    self.row_us += read_us or mcp33.READ_US

    def converter(self, name):
        """(bits, volts from the lowest to the highest count, skew in microseconds) of an input."""
        return self.specs[name]

    def reader(self, name):
        """A function without arguments that gives the input's counts: measured now, or the last that was held."""
        letter, plus, minus = self.places[name]
        chip = self._chip(letter)
        if chip not in self.slow:
            return chip.reader(plus, minus)
        self.held[name] = chip.input(plus, minus)
        return self.held[name].read

    def frame(self, name):
        """(letter, bytes that ask for an input) of a converter that is read for each row; None of a slow one."""
        letter, plus, minus = self.places[name]
        chip = self._chip(letter)
        return None if chip in self.slow else (letter, chip.ask(plus, minus))

    def age(self, name):
        """A function without arguments: milliseconds since the held value of an input was measured."""
        return self.held[name].age

    def _chip(self, letter):
        if letter not in self.chips:
            part = self.parts[letter]
            place = self.pins["converters"][letter]
            if part == "ads1115":
                from drivers import ads1115

                self.chips[letter] = ads1115.Ads1115(self.i2c(), place["address"], self.ticks_us)
                self.slow.append(self.chips[letter])
            else:
                from drivers import mcp33

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
