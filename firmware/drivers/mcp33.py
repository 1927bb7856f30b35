"""SPI converters read one sample at a time from the row path: nothing allocated, 24 clocks a reading.

MCP3208 (data sheet DS21298, figure 6-1): start bit, single or differential, three bits of the channel; answers a null
bit and 12 bits. MCP3304 (DS21697, figure 6-1): the same one clock earlier, with a sign bit before the 12.
The null bit tells whether a converter is there: its line, pulled up, reads as ones where none is.
Where a board reads frames in another way, `joined` is what does it (drivers/viper_spi.py).
Each part's `read` stands whole: one for both, its numbers in variables, takes its frame from the heap (a test fails).
"""

import machine

_CLOCK_HZ = 1000000  # MCP3208 at 2.7 V: 1 MHz; MCP3304: 1.05 MHz
READ_US = 45  # a reading takes about so long, the firmware's own time included


def bus(pins):
    """The converters' SPI, with the answer line pulled up. pins: as in boards/pin_table.py."""
    answer = machine.Pin(pins["miso"], machine.Pin.IN, machine.Pin.PULL_UP)
    clock, ask = machine.Pin(pins["sck"]), machine.Pin(pins["mosi"])
    return machine.SPI(pins["id"], baudrate=_CLOCK_HZ, sck=clock, mosi=ask, miso=answer)


class Converter:
    """spi: machine.SPI. cs: machine.Pin as output. Readings set `absent` and `alive`; the main loop asks and clears."""

    def __init__(self, spi, cs):
        self.exchange = spi.write_readinto
        self.answer = bytearray(3)
        self.cs = cs
        self.seen = self._seen  # replaced where several inputs are read in one go
        self.absent = False  # a null bit was missing
        self.alive = False  # a reading other than 0 came
        cs(1)

    def trouble(self):
        """Whether nothing answers: called now and then, looks at the readings since the last call."""
        absent, alive = self.seen()
        return absent or not alive

    def _seen(self):
        out = self.absent, self.alive
        self.absent = self.alive = False
        return out


class Mcp3208(Converter):
    """12 bits, inputs 0 to 7 against ground."""

    null, top, signed = 0x10, 4095, False

    def ask(self, plus, _minus):
        """The bytes that ask for input `plus`."""
        return bytes([0x06 | plus >> 2, (plus & 3) << 6, 0])

    def reader(self, plus, minus):
        """A function without arguments that reads input `plus`: counts, 4095 where nothing answers. minus: None."""
        exchange = self.exchange
        cs = self.cs
        ask = self.ask(plus, minus)
        answer = self.answer

        def read():
            cs(0)
            exchange(ask, answer)
            cs(1)
            high = answer[1]
            if high & 0x10:
                self.absent = True
                return 4095
            counts = (high & 0x0F) << 8 | answer[2]
            if counts:
                self.alive = True
            return counts

        return read


class Mcp3304(Converter):
    """12 bits and sign: four differences 0-1, 2-3, 4-5, 6-7, either way round, or inputs 0 to 7 against ground."""

    null, top, signed = 0x20, 8191, True

    def ask(self, plus, minus):
        """The bytes that ask for `plus` against `minus`."""
        code = plus if minus is not None else 8 | plus  # of a difference, its positive input names the pair
        return bytes([0x08 | code >> 1, (code & 1) << 7, 0])

    def reader(self, plus, minus):
        """A function without arguments that reads `plus` against `minus` (None: ground).

        Counts with 4096 added: 0 to 8191, 8191 also where nothing answers.
        """
        exchange = self.exchange
        cs = self.cs
        ask = self.ask(plus, minus)
        answer = self.answer

        def read():
            cs(0)
            exchange(ask, answer)
            cs(1)
            high = answer[1]
            if high & 0x20:
                self.absent = True
                return 8191
            counts = (high & 0x1F) << 8 | answer[2]
            if counts:
                self.alive = True
            return counts ^ 0x1000

        return read
