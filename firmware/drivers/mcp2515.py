"""MCP2515 class on SPI: two frames, no time stamps. Interface: drivers/can_frame.py.

Registers and instructions: data sheet DS20001801, from memory where no public copy was at hand. Every access is one
exchange between two levels of the select pin, with interrupts off meanwhile: see mcp2518fd.py.
"""

import machine

from drivers import can_frame
from shared_math import ticks
from shared_math.compat import const

_RESET = const(0xC0)
_READ = const(0x03)
_WRITE = const(0x02)
_CHANGE = const(0x05)  # the bits of a mask
_LOAD = const(0x40)
_SEND = const(0x80)  # and a bit for each of three buffers
_STATUS = const(0xA0)
_TAKE_0 = const(0x90)
_TAKE_1 = const(0x94)

_CONTROL = const(0x0F)
_COUNTERS = const(0x1C)  # sent, received
_TIMING = const(0x28)  # three bytes, the last first
_INTERRUPTS = const(0x2B)
_FLAGS = const(0x2D)
_SEND_CONTROL = const(0x30)
_BUFFER_0 = const(0x60)
_BUFFER_1 = const(0x70)

_CONFIGURE = const(4)
_LISTEN = const(3)
_NORMAL = const(0)
_ONE_SHOT = const(8)
_TRIES = const(200)
_EXTENDED = const(1 << 29)


class Mcp2515:
    """spi: machine.SPI, 10 MHz at most. The rest: see mcp2518fd.Mcp2518fd."""

    def __init__(self, spi, cs, interrupt, ticks_us, crystal_mhz, options):
        self.exchange = spi.write_readinto
        self.cs = cs
        self.interrupt = interrupt
        self.options = options
        self.ticks_us = ticks_us
        self.crystal_mhz = crystal_mhz
        self.frame = can_frame.CanFrame()
        self.only = None
        self.overflows = 0
        self.may_send = False
        self.handler = None
        # Room for each kind of access of its own: `take` may come in between the main loop's
        self.of_state = bytes([_STATUS, 0]), bytearray(2)
        self.of_main = bytearray(4), bytearray(4)
        self.of_flags = bytearray(4), bytearray(4)
        self.first = bytes([_TAKE_0]) + bytes(13), bytearray(14)
        self.second = bytes([_TAKE_1]) + bytes(13), self.first[1]
        self.frame_out = bytearray(14), bytearray(14)
        self.buffer = 0  # the one that was filled last
        self.of_sending = bytes([_STATUS, 0]), bytearray(2)
        self.go = bytearray(1), bytearray(1)
        cs(1)

    def _swap(self, ask, answer):
        """One access to the chip, whole: nothing comes between."""
        cs = self.cs
        exchange = self.exchange
        state = machine.disable_irq()
        cs(0)
        exchange(ask, answer)
        cs(1)
        machine.enable_irq(state)

    def _read2(self, pair, address):
        """Two bytes from `address` on; they are in what is given back, from 2 on."""
        ask, got = pair
        ask[0] = _READ
        ask[1] = address
        self._swap(ask, got)
        return got

    def _write(self, address, *values):
        self._swap(bytes([_WRITE, address]) + bytes(values), bytearray(2 + len(values)))

    def on_frames(self, handler):
        """See drivers/can_frame.py."""
        self.handler = handler
        self.interrupt.irq(handler, machine.Pin.IRQ_FALLING, **self.options)

    def listen(self, kbit, only):
        """See drivers/can_frame.py."""
        return self._mode(kbit, only, _LISTEN)

    def normal(self, kbit, only):
        """See drivers/can_frame.py."""
        return self._mode(kbit, only, _NORMAL)

    def _mode(self, kbit, only, mode):
        """Set everything anew. Whether the chip did it."""
        self.may_send = False
        self.only = only
        self._swap(bytes([_RESET]), bytearray(1))
        if not self._reached(_CONFIGURE):
            return False
        quanta, slower = self._quanta(kbit)
        second = max(2, quanta // 5)
        first = min(8, (quanta - 1 - second) // 2)
        before = quanta - 1 - second - first
        self._write(_TIMING, second - 1, 0x80 | (first - 1) << 3 | before - 1, slower - 1)
        self._write(_BUFFER_0, 0x64)  # any frame; the second buffer takes what finds the first one full
        self._write(_BUFFER_1, 0x60)
        self._write(_INTERRUPTS, 3)
        self._write(_CONTROL, mode << 5 | _ONE_SHOT)
        self.may_send = self._reached(mode) and mode == _NORMAL
        return self._is(mode)

    def _quanta(self, kbit):
        """(time quanta of a bit, divisor of half the crystal's rate)."""
        clocks = 500 * self.crystal_mhz // kbit
        for slower in range(1, 64):
            if clocks % slower == 0 and clocks // slower <= 20:
                return clocks // slower, slower
        return clocks, 1

    def _reached(self, mode):
        for _ in range(_TRIES):
            if self._is(mode):
                return True
        return False

    def _is(self, mode):
        return self._read2(self.of_main, _CONTROL - 1)[2] >> 5 == mode

    def take(self, frame):
        """See drivers/can_frame.py."""
        while True:
            ask, got = self.of_state
            self._swap(ask, got)
            state = got[1]
            if not state & 3:
                self._overflow()
                return False
            ask, data = self.first if state & 1 else self.second
            self._swap(ask, data)  # the end of this access frees the buffer
            frame.tick = self.ticks_us() & ticks.MASK
            number = data[1] << 3 | data[2] >> 5
            if data[2] & 8:
                number = number << 18 | (data[2] & 3) << 16 | data[3] << 8 | data[4] | _EXTENDED
            frame.id = number
            length = data[5] & 0x0F
            frame.length = length if length <= 8 else 8
            to = frame.data
            for n in range(8):
                to[n] = data[6 + n]
            if can_frame.wanted(number, self.only):
                return True

    def _overflow(self):
        if self._read2(self.of_flags, _FLAGS)[2] >> 6:
            self.overflows += 1
            ask, got = self.of_flags
            ask[0] = _CHANGE
            ask[2] = 0xC0
            ask[3] = 0
            self._swap(ask, got)

    def done(self, _frame):
        """See drivers/can_frame.py: `take` did it."""

    def send(self, frame_id, data):
        """See drivers/can_frame.py."""
        if not self.may_send:
            raise RuntimeError("a frame was to be sent while only listening is allowed")
        at = self.buffer + 1 if self.buffer < 2 else 0  # by turns: two units may be answered at once
        ask, got = self.of_sending
        self._swap(ask, got)
        if got[1] >> 2 * at & 4:  # full: the bus is held by somebody else
            return
        self.buffer = at
        put, spare = self.frame_out
        put[0] = _LOAD | at << 1
        if frame_id & _EXTENDED:
            number = frame_id & _EXTENDED - 1
            put[1] = number >> 21
            put[2] = (number >> 18 & 7) << 5 | 8 | number >> 16 & 3
            put[3] = number >> 8 & 0xFF
            put[4] = number & 0xFF
        else:
            put[1] = frame_id >> 3
            put[2] = (frame_id & 7) << 5
            put[3] = put[4] = 0
        put[5] = 8
        for n in range(8):
            put[6 + n] = data[n]
        self._swap(put, spare)
        put, spare = self.go
        put[0] = _SEND | 1 << at
        self._swap(put, spare)

    def failed(self):
        """See drivers/can_frame.py."""
        return self._read2(self.of_main, _SEND_CONTROL + (self.buffer << 4))[2] & 0x10 != 0

    def errors(self):
        """See drivers/can_frame.py."""
        if self._read2(self.of_main, _FLAGS)[2] & 0x20:
            return can_frame.OFF
        got = self._read2(self.of_main, _COUNTERS)
        return max(got[2], got[3])

    def missed(self):
        """See drivers/can_frame.py."""
        return self.overflows

    def look(self):
        """From the main loop: frames that wait without an interrupt having told of it."""
        if not self.interrupt():
            state = machine.disable_irq()
            self.handler(None)  # pyright: ignore[reportOptionalCall]
            machine.enable_irq(state)
