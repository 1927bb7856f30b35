"""The RP2040 and the RP2350: hard timer, edges stamped by PIO, inputs converted and averaged through DMA. Pins are in
pin_table.py."""

import sys
import time
from array import array

import machine
import micropython

from boards import generic
from drivers import dma_ring, pio_edges, rp2_adc, rp2_chip, viper_edges
from shared_math import speed
from shared_math.compat import const

_EDGE_RING_BITS = const(11)  # bytes: 512 stamps
_LONG_EDGE_RING_BITS = const(12)  # for fast inputs or slow rows
_SPARE = const(16)  # stamps of a ring that may be written while they are read
_BLIND_US = const(45000)  # no row is taken while the board's own flash is erased
_WORD = const(2)
_WATCHDOG_MS = const(8000)  # it can count to 8388
_ENABLE = const(1 << 30)  # of the watchdog


class Rp2Board(generic.GenericBoard):
    """What the firmware asks of a board; the same methods as boards/desk.py."""

    irq_options = {"hard": True}
    read_us = 28  # a reading of an external converter in the row path, see drivers/viper_spi.py

    def __init__(self, name):
        self.name = name
        self.stampers = []
        self.edges = []
        self.inputs = []  # (function that reads, input of the converter)
        self.frames = []  # (function that reads, letter of the external converter, bytes that ask)
        self.chip = rp2_chip.of(name)
        self.unwatch()  # it may have been left running by what ran before a reset
        super().__init__()
        pwm = self.pins["supply_pwm"]
        wireless = " W " in sys.implementation._machine  # pyright: ignore[reportAttributeAccessIssue]
        if pwm is not None and not wireless:  # with radio, that pin feeds the radio
            machine.Pin(pwm, machine.Pin.OUT, value=1)  # a steady switching rate: less noise on the 3.3 V

    ticks_us = staticmethod(time.ticks_us)  # this port's wrap at 2^30

    @micropython.native  # pyright: ignore[reportArgumentType]
    def wait(self, queue, enough):
        """See GenericBoard.wait: compiled, since every row wakes it."""
        idle = machine.idle
        idle()
        while queue.head - queue.tail & 0x3FFFFFFF < enough:
            idle()
        return True

    def configure(self, config):
        """The configuration in force, before any input is asked for."""
        super().configure(config)
        self.analog = rp2_adc.Converter(self.chip, config["rate_hz"])
        self.apart_us = max(_BLIND_US, 1000000 // config["rate_hz"])  # rows, at most
        self.before_us = self.fitted.row_us if self.fitted else 0  # external converters are read first

    def own_converter(self, name):
        """(bits, volts, skew in microseconds, volts it may be off by) of an input of the board's own converter."""
        volts = self.reference_v
        count_v = volts / (1 << rp2_adc.BITS)
        errors = tuple([counts * count_v for counts in self.chip.adc_errors])
        return self.analog.bits, volts, self.before_us + self.analog.skew_us(int(name[1:])), errors

    def own_reader(self, pin):
        """A function without arguments that gives the mean of the newest samples of a pin."""
        number = pin - rp2_adc.FIRST_PIN
        one = self.analog.means([(0, number)])
        cell = array("i", [0])

        def read():
            one.put(cell, 0, 0)  # pyright: ignore[reportAttributeAccessIssue]
            return cell[0]

        self.inputs.append((read, number))
        return read

    def reader(self, channel):
        """See GenericBoard.reader."""
        read = super().reader(channel)
        name = channel["input"]
        frame = self.fitted.frame(name) if self.fitted and name[0] != "a" else None
        if frame:
            self.frames.append((read, frame[0], frame[1]))
        return read

    def together(self, parts):
        """What fills the row's columns: all inputs of the board's own converter in one call, before it those of each
        external one."""
        number_of = {at: number for at, _, source in parts for read, number in self.inputs if read is source}
        joined = []
        if number_of:
            first = min(number_of)
            joined.append((first, 1, self.analog.means([(at - first, number_of[at]) for at in number_of])))
        taken = set(number_of)
        for letter in sorted(set([one[1] for one in self.frames])):
            asked = [(read, ask) for read, of, ask in self.frames if of == letter]
            asks = [(at, ask) for at, _, source in parts for read, ask in asked if read is source]
            first = min([at for at, _ in asks])
            joined.insert(0, (first, 1, self._joined(letter, [(at - first, ask) for at, ask in asks])))
            taken.update([at for at, _ in asks])
        return joined + [part for part in parts if part[0] not in taken]

    def _joined(self, letter, asks):
        """What reads these inputs of an external converter in one call."""
        from drivers import viper_spi

        chip = self.fitted.chips[letter]
        base = self.chip.spis[self.pins["converter_spi"]["id"]]
        registers = (base + 8, base + 8, base + 12, self.chip.pins_high, self.chip.pins_low)  # SSPDR twice, SSPSR
        pin = self.pins["converters"][letter]["cs"]
        frames = viper_spi.Frames(registers, pin, chip.null, chip.top, chip.signed, asks)
        chip.seen = frames.seen
        return frames

    def bus_port(self, plan):
        """See GenericBoard.bus_port."""
        can = super().bus_port(plan)
        if not self.fitted or not self.fitted.spi:  # nothing slower is on its SPI
            return can
        from drivers import viper_exchange

        fast = viper_exchange.Exchange(self.chip.spis[self.pins["converter_spi"]["id"]])
        can.exchange = fast.exchange  # pyright: ignore[reportAttributeAccessIssue]
        return can

    def loop(self):
        """Once a turn of the main loop while recording."""
        super().loop()
        if self.analog.overflown():
            self.trouble = "converter_silent"

    def tach(self, channel, limit_us):
        """What counts the edges of a pulse input; an edge within `limit_us` of the last accepted one is refused."""
        number = self.pin("pulse", channel["input"])
        if number is None:
            return super().tach(channel, limit_us)
        pin = machine.Pin(number, machine.Pin.IN)
        stamper = pio_edges.Stamper(len(self.stampers), pin, channel["polarity"])
        kept = (1 << _EDGE_RING_BITS - _WORD) - _SPARE
        fast = self.apart_us > kept * speed.channel_shortest_us(channel)
        bits = _LONG_EDGE_RING_BITS if fast else _EDGE_RING_BITS
        ring = dma_ring.DmaRing(stamper.fifo, stamper.dreq, _WORD, bits)
        self.stampers.append((stamper, ring))
        cycles_per_us = machine.freq() // 1000000
        start = stamper.start(viper_edges.go, self.chip.timer_raw)
        edges = viper_edges.EdgeRing(ring.buffer, ring.left, limit_us, cycles_per_us, pio_edges.EDGE_CYCLES, start)
        self.edges.append(edges)
        return edges

    def watch(self):
        """Start the watchdog: `feed` is to be called at least every 8 s."""
        self.feed = machine.WDT(timeout=_WATCHDOG_MS).feed

    def unwatch(self):
        """Stop the watchdog."""
        machine.mem32[self.chip.watchdog_clear] = _ENABLE

    def start_timer(self, period_us, handler):
        """Call `handler` at a grid of `period_us` as a hard interrupt; None: the first call tells when the grid
        begins."""
        for edges in self.edges:
            edges.forget()  # the card was opened meanwhile, which takes longer than the ring holds
        self.timer = machine.Timer(-1)
        every = {"period": period_us, "tick_hz": 1000000, "hard": True}
        self.timer.init(mode=machine.Timer.PERIODIC, callback=handler, **every)
