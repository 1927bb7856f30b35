"""MCP2518FD class on SPI: 32 frames in a queue, each with the time of its arrival. Interface: drivers/can_frame.py.

Registers, bits and objects in memory: data sheet DS20006027 and family reference manual DS20005678, from memory where
no public copy was at hand. Every access to the chip is one exchange between two levels of its select pin, with
interrupts off meanwhile: the row interrupt reads converters on the same SPI, and must find it free.

Lines `# @micropython.native` are for the compiler: see host/ringpull/device/firmware_build.py.
"""

import machine

from drivers import can_frame
from drivers.can_frame import eight
from shared_math import ticks
from shared_math.compat import const

_WRITE = const(0x20)  # high half of the first byte: instruction; the rest: address
_READ = const(0x30)
_CON = const(0x000)
_TIMING = const(0x004)
_COUNTER = const(0x010)  # time base
_COUNTER_SETUP = const(0x014)
_INT = const(0x01C)
_ERRORS = const(0x034)
_QUEUE_SETUP = const(0x050)  # of frames to be sent; then its state and its place in memory
_QUEUE_STATE = const(0x054)
_FIFO_SETUP = const(0x05C)  # of frames that came; then its state and its place in memory
_FIFO_STATE = const(0x060)
_FILTER_SETUP = const(0x1D0)
_FILTERS = const(0x1F0)
_OSCILLATOR = const(0xE00)
_MEMORY = const(0x400)
_MOST_FILTERS = const(32)

_CONFIGURE = const(4)
_LISTEN = const(3)
_CLASSIC = const(6)  # CAN 2.0, sending
_TRIES = const(200)
_EXTENDED = const(1 << 29)
_STAMP_MASK = const(0xFFFFFF)
_SLOWEST_MHZ = const(4)  # with the chip's tenfold clock
_SEGMENTS = const(160)  # of a bit, at most


def _word(value):
    return bytes([value & 0xFF, value >> 8 & 0xFF, value >> 16 & 0xFF, value >> 24 & 0xFF])


class Mcp2518fd:
    """spi: machine.SPI, 20 MHz at most. cs: machine.Pin as output. interrupt: machine.Pin as input, low when frames
    wait. ticks_us: the board's clock. options: of Pin.irq."""

    def __init__(self, spi, cs, interrupt, ticks_us, crystal_mhz, options):
        self.exchange = spi.write_readinto
        self.cs = cs
        self.interrupt = interrupt
        self.options = options
        self.ticks_us = ticks_us
        self.crystal_mhz = crystal_mhz
        self.clock_mhz = 40 if crystal_mhz == _SLOWEST_MHZ else crystal_mhz
        self.frame = can_frame.CanFrame()
        self.overflows = 0
        self.may_send = False
        self.handler = None
        # Room for each kind of access of its own: `take` may come in between the main loop's
        self.of_queue = bytearray(8), bytearray(8)  # two bytes of instruction, then what is read: state and place
        self.of_fifo = bytearray(8), bytearray(8)
        self.of_counter = bytearray(5), bytearray(5)
        for pair, address in ((self.of_queue, _QUEUE_STATE), (self.of_fifo, _FIFO_STATE), (self.of_counter, _COUNTER)):
            pair[0][0] = _READ | address >> 8
            pair[0][1] = address & 0xFF
        self.of_main = bytearray(6), bytearray(6)
        self.taken = bytearray(3), bytearray(3)
        self.given = bytearray(3), bytearray(3)
        self.object_in = bytearray(22), bytearray(22)
        self.object_out = bytearray(18), bytearray(18)
        cs(1)

    # ---- the chip's registers --------------------------------------------------------------------------------------

    # @micropython.native
    def _swap(self, ask, answer):
        """One access to the chip, whole: nothing comes between."""
        cs = self.cs
        exchange = self.exchange
        state = machine.disable_irq()
        cs(0)
        exchange(ask, answer)
        cs(1)
        machine.enable_irq(state)

    # @micropython.native
    def _read(self, pair, address):
        """As many bytes from `address` on as `pair` has room for; they are in what is given back, from 2 on."""
        ask, got = pair
        ask[0] = _READ | address >> 8
        ask[1] = address & 0xFF
        self._swap(ask, got)
        return got

    # @micropython.native
    def _write1(self, pair, address, value):
        put, got = pair
        put[0] = _WRITE | address >> 8
        put[1] = address & 0xFF
        put[2] = value
        self._swap(put, got)

    def _write(self, address, data):
        """Any number of bytes; allocates."""
        self._swap(bytes([_WRITE | address >> 8, address & 0xFF]) + data, bytearray(2 + len(data)))

    # ---- modes ------------------------------------------------------------------------------------------------------

    def on_frames(self, handler):
        """See drivers/can_frame.py."""
        self.handler = handler
        self.interrupt.irq(handler, machine.Pin.IRQ_FALLING, **self.options)

    def listen(self, kbit, only):
        """See drivers/can_frame.py."""
        return self._mode(kbit, only, _LISTEN)

    def normal(self, kbit, only):
        """See drivers/can_frame.py."""
        return self._mode(kbit, only, _CLASSIC)

    def _mode(self, kbit, only, mode):
        """Set everything anew. Whether the chip did it."""
        self.may_send = False
        self._swap(bytes(2), bytearray(2))  # reset: it begins in configuration mode
        self._write1(self.given, _OSCILLATOR, 1 if self.crystal_mhz == _SLOWEST_MHZ else 0)
        if not self._reached(_CONFIGURE):
            return False
        clocks = 1000 * self.clock_mhz // kbit
        slower = (clocks + _SEGMENTS - 1) // _SEGMENTS
        segments = clocks // slower
        second = segments // 5
        timing = (slower - 1) << 24 | (segments - second - 2) << 16 | (second - 1) << 8 | second - 1
        self._write(_TIMING, _word(timing))
        self._write(_COUNTER_SETUP, _word((self.clock_mhz - 1) | 1 << 16))  # microseconds
        self._write(_QUEUE_SETUP, _word(3 << 24))  # four frames of eight bytes, no second attempt
        self._write(_FIFO_SETUP, _word(31 << 24 | 1 << 5 | 1 << 3 | 1))  # 32, stamped; interrupts for one and overflow
        self._filter(only)
        self._write(_INT, _word(1 << 17 | 1 << 27))
        # One attempt where the queue says so (bit 16), a queue for sending (bit 20)
        self._write(_CON, _word(1 << 20 | 1 << 16 | mode << 24))
        self.may_send = self._reached(mode) and mode == _CLASSIC
        return self._is(mode)

    def _reached(self, mode):
        for _ in range(_TRIES):
            if self._is(mode):
                return True
        return False

    def _is(self, mode):
        return self._read(self.of_main, _CON)[4] >> 5 == mode

    def _filter(self, only):
        if only is None:
            only = ((0, 0),)
        self._write(_FILTER_SETUP, bytes(_MOST_FILTERS))
        enabled = bytearray(_MOST_FILTERS)
        for n in range(min(len(only), _MOST_FILTERS)):
            one, mask = only[n]
            extended = one & _EXTENDED
            self._write(_FILTERS + 8 * n, self._placed(one, extended) + self._placed(mask, extended))
            enabled[n] = 0x81  # into the first queue
        self._write(_FILTER_SETUP, bytes(enabled))

    def _placed(self, number, extended):
        """An id or mask as the chip has it: eleven bits low, eighteen above them, bit 30 for the sort of id."""
        sort = number & _EXTENDED
        number &= _EXTENDED - 1
        if extended:
            low, high = number >> 18, number & 0x3FFFF
        else:
            low, high = number & 0x7FF, 0
        word = _word(low | high << 11)
        return word[:3] + bytes([word[3] | (0x40 if sort else 0)])

    # ---- frames -----------------------------------------------------------------------------------------------------

    # @micropython.native
    def take(self, frame):
        """See drivers/can_frame.py."""
        ask, got = self.of_fifo
        self._swap(ask, got)
        if got[2] & 8:
            self.overflows += 1
            self._write1(self.taken, _FIFO_STATE, 0)
        if not got[2] & 1:
            return False
        place = _MEMORY + (got[6] | got[7] << 8)
        ask, data = self.object_in
        ask[0] = _READ | place >> 8
        ask[1] = place & 0xFF
        self._swap(ask, data)
        low = data[2] | (data[3] & 7) << 8
        length = data[6] & 0x0F
        frame.length = length if length <= 8 else 8
        if data[6] & 0x10:
            frame.id = low << 18 | data[3] >> 3 | data[4] << 5 | (data[5] & 0x1F) << 13 | _EXTENDED
        else:
            frame.id = low
        eight(frame.data, 0, data, 14)  # pyright: ignore[reportCallIssue]
        return True

    # @micropython.native
    def done(self, frame):
        """See drivers/can_frame.py."""
        self._write1(self.taken, _FIFO_SETUP + 1, 1)  # the queue goes on to the next
        ask, got = self.of_counter
        self._swap(ask, got)
        now = self.ticks_us()
        data = self.object_in[1]
        since = ((got[2] | got[3] << 8 | got[4] << 16) - (data[10] | data[11] << 8 | data[12] << 16)) & _STAMP_MASK
        frame.tick = (now - since) & ticks.MASK

    # @micropython.native
    def send(self, frame_id, data):
        """See drivers/can_frame.py."""
        if not self.may_send:
            raise RuntimeError("a frame was to be sent while only listening is allowed")
        ask, got = self.of_queue
        self._swap(ask, got)
        if not got[2] & 1:  # full: the bus is held by somebody else
            return
        place = _MEMORY + (got[6] | got[7] << 8)
        put, spare = self.object_out
        put[0] = _WRITE | place >> 8
        put[1] = place & 0xFF
        if frame_id & _EXTENDED:
            low = frame_id >> 18 & 0x7FF
            high = frame_id & 0x3FFFF
            put[6] = 0x18
        else:
            low = frame_id
            high = 0
            put[6] = 8
        put[2] = low & 0xFF
        put[3] = low >> 8 | (high & 0x1F) << 3
        put[4] = high >> 5 & 0xFF
        put[5] = high >> 13
        eight(put, 10, data, 0)  # pyright: ignore[reportCallIssue]
        self._swap(put, spare)
        self._write1(self.given, _QUEUE_SETUP + 1, 3)  # the frame is there; send it

    def failed(self):
        """See drivers/can_frame.py."""
        return self._read(self.of_main, _QUEUE_STATE)[2] & 0x20 != 0

    def errors(self):
        """See drivers/can_frame.py."""
        got = self._read(self.of_main, _ERRORS)
        if got[4] & 0x20:
            return can_frame.OFF
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
