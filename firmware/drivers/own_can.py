"""A board's own bus controller through machine.CAN (STM32, MicroPython 1.28). Interface: drivers/can_frame.py.

Calls and constants as MicroPython's documentation of machine.CAN has them. It sends a frame again and again until
somebody acknowledges it, so a frame is taken back as soon as the controller's state tells of errors (after a dozen
attempts), and at the latest when the main loop comes by.
"""

import machine

from drivers import can_frame
from shared_math import ticks
from shared_math.compat import const

_EXTENDED = const(1 << 29)
_SENT_US = const(5000)  # a frame that nobody acknowledged by then is taken back
_ACTIVE = const(1)  # machine.CAN.STATE_ACTIVE; what is worse has higher numbers
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
        self.only = None  # what the controller has too few filters for
        self.overflows = 0
        self.pending = False  # a frame may stand in the queue
        self.given_at = 0
        self.lost = False
        self.handler = None

    def on_frames(self, handler):
        """See drivers/can_frame.py."""
        self.handler = handler
        self._hear()

    def _hear(self):
        can = self.can
        can.irq(self._event, can.IRQ_RX | can.IRQ_STATE, hard=True)

    def _event(self, can):
        """Interrupt handler: frames came, or the controller's state is worse than it was."""
        if self.pending and can.state() > _ACTIVE:
            self._take_back()
        self.handler(can)  # pyright: ignore[reportOptionalCall]

    def listen(self, kbit, only):
        """See drivers/can_frame.py."""
        return self._mode(kbit, only, False)

    def normal(self, kbit, only):
        """See drivers/can_frame.py."""
        return self._mode(kbit, only, True)

    def _mode(self, kbit, only, sending):
        can = self.can
        self.may_send = self.pending = self.lost = False
        can.deinit()  # what waits is dropped, counters and interrupts too
        can.init(1000 * kbit, mode=can.MODE_NORMAL if sending else can.MODE_SILENT)
        self.only = None
        try:
            can.set_filters(None if only is None else [self._filter(*one) for one in only])
        except ValueError:  # more than the controller has
            can.set_filters(None)
            self.only = only
        if self.handler:
            self._hear()
        self.may_send = sending
        return True

    def _filter(self, one, mask):
        whole = _EXTENDED - 1 if one & _EXTENDED else 0x7FF
        return one & whole, mask & whole, self._sort(one)

    def _sort(self, frame_id):
        return self.can.FLAG_EXT_ID if frame_id & _EXTENDED else 0

    def take(self, frame):
        """See drivers/can_frame.py."""
        can = self.can
        while True:
            got = can.recv(self.result)
            if got is None:
                return False
            frame.tick = self.ticks_us() & ticks.MASK
            frame.id = got[0] | (_EXTENDED if got[2] & can.FLAG_EXT_ID else 0)
            frame.length = len(got[1])
            if got[3] & can.RECV_ERR_OVERRUN:
                self.overflows += 1
            if not got[2] & can.FLAG_RTR and can_frame.wanted(frame.id, self.only):
                break
        for n in range(8):
            frame.data[n] = self.room[n]
        return True

    def done(self, _frame):
        """See drivers/can_frame.py: `take` did it."""

    def send(self, frame_id, data):
        """See drivers/can_frame.py."""
        if not self.may_send:
            raise RuntimeError("a frame was to be sent while only listening is allowed")
        self._take_back_old()
        try:
            queued = self.can.send(frame_id & _EXTENDED - 1, data, self._sort(frame_id))
        except OSError:  # the controller has left the bus
            queued = None
        self.lost = queued is None
        self.pending = True
        self.given_at = self.ticks_us()

    def _take_back_old(self):
        if self.pending and (self.ticks_us() - self.given_at) & ticks.MASK >= _SENT_US:
            self._take_back()

    def _take_back(self):
        """Empty the queue. What still stood there is lost."""
        can = self.can
        self.pending = False
        for n in range(can.TX_QUEUE_LEN):
            if can.cancel_send(n):
                self.lost = True

    def failed(self):
        """See drivers/can_frame.py."""
        self.look()
        return self.lost

    def errors(self):
        """See drivers/can_frame.py. The attempts at a frame that nobody acknowledged are no error of the bus."""
        if self.can.state() == _BUS_OFF:
            return can_frame.OFF
        counters = self.can.get_counters(self.counters)
        return counters[1] if self.lost or counters[1] > counters[0] else counters[0]

    def missed(self):
        """See drivers/can_frame.py."""
        return self.overflows

    def look(self):
        """From the main loop: take back what nobody acknowledged. This controller's interrupt is not missed."""
        state = machine.disable_irq()  # a frame that the interrupt gives just now stays
        self._take_back_old()
        machine.enable_irq(state)
