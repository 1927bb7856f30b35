"""A board's own bus controller through machine.CAN (STM32, MicroPython 1.28). Interface: drivers/can_frame.py.

Calls and constants as MicroPython's documentation of machine.CAN has them. It has no sending without repetition: a
frame that is still in the queue when the next one is to go, or when its result is asked for, is taken back.
"""

import machine

from drivers import can_frame
from shared_math import ticks
from shared_math.compat import const

_EXTENDED = const(1 << 29)
_SENT_US = const(5000)  # a frame that nobody acknowledged by then is taken back
_BUS_OFF = const(4)  # machine.CAN.STATE_BUS_OFF


class OwnCan:
    """number: of the controller. ticks_us: the board's clock."""

    def __init__(self, number, ticks_us):
        self.can = machine.CAN(number, 500000, mode=machine.CAN.MODE_SILENT)  # pyright: ignore
        self.ticks_us = ticks_us
        self.frame = can_frame.CanFrame()
        self.may_send = False
        self.room = bytearray(8)
        self.result = [0, memoryview(self.room), 0, 0]
        self.counters = [0] * 8
        self.overflows = 0
        self.queued = -1  # place of the frame that was given last
        self.given_at = 0
        self.lost = False
        self.handler = None

    def on_frames(self, handler):
        """See drivers/can_frame.py."""
        self.handler = handler
        self.can.irq(handler, self.can.IRQ_RX, hard=True)

    def listen(self, kbit, only):
        """See drivers/can_frame.py."""
        return self._mode(kbit, only, False)

    def normal(self, kbit, only):
        """See drivers/can_frame.py."""
        return self._mode(kbit, only, True)

    def _mode(self, kbit, only, sending):
        can = self.can
        self.may_send = False
        self.queued = -1
        self.lost = False
        can.init(1000 * kbit, mode=can.MODE_NORMAL if sending else can.MODE_SILENT)
        if only is not None:
            only = [
                (one & _EXTENDED - 1, mask & (_EXTENDED - 1 if one & _EXTENDED else 0x7FF), self._sort(one))
                for one, mask in only[: can.FILTERS_MAX]
            ]
        can.set_filters(only)
        if self.handler:
            can.irq(self.handler, can.IRQ_RX, hard=True)
        self.may_send = sending
        return True

    def _sort(self, frame_id):
        return self.can.FLAG_EXT_ID if frame_id & _EXTENDED else 0

    def take(self, frame):
        """See drivers/can_frame.py."""
        got = self.can.recv(self.result)
        if got is None:
            return False
        frame.tick = self.ticks_us() & ticks.MASK
        frame.id = got[0] | (_EXTENDED if got[2] & self.can.FLAG_EXT_ID else 0)
        frame.length = len(got[1])
        if got[3]:
            self.overflows += 1
        for n in range(8):
            frame.data[n] = self.room[n]
        return True

    def send(self, frame_id, data):
        """See drivers/can_frame.py."""
        if not self.may_send:
            raise RuntimeError("a frame was to be sent while only listening is allowed")
        self._take_back()
        try:
            queued = self.can.send(frame_id & _EXTENDED - 1, data, self._sort(frame_id))
        except OSError:  # the controller has left the bus
            queued = None
        self.lost = queued is None
        self.queued = -1 if queued is None else queued
        self.given_at = self.ticks_us()

    def _take_back(self):
        if self.queued >= 0:
            if self.can.cancel_send(self.queued):
                self.lost = True
            self.queued = -1

    def failed(self):
        """See drivers/can_frame.py."""
        if self.queued >= 0 and (self.ticks_us() - self.given_at) & ticks.MASK >= _SENT_US:
            self._take_back()
        return self.lost

    def errors(self):
        """See drivers/can_frame.py."""
        if self.can.state() == _BUS_OFF:
            return can_frame.OFF
        self.can.get_counters(self.counters)
        return max(self.counters[0], self.counters[1])

    def missed(self):
        """See drivers/can_frame.py."""
        return self.overflows

    def look(self):
        """From the main loop: nothing, this controller's interrupt is not missed."""
