"""A stand-in for machine.CAN of MicroPython 1.28 on an STM32 with a bxCAN controller, as far as a driver sees it.

After MicroPython's docs/library/machine.CAN.rst, extmod/machine_can.c, ports/stm32/machine_can.c and can.c: three
buffers for sending, by priority, one for each id, each tried until it is acknowledged or taken back; two queues of
three frames, which the filters fill by turns; fourteen filters; error counters and states as ISO 11898 has them; the
end of a frame frees its buffer by an interrupt, so not while a handler runs.

`came(id, data)` puts a frame on the bus before it; `wire(id, data)` is called for each attempt to send and gives
"ack", "none" (nobody acknowledges), "error" (the bus disturbs it) or "busy" (somebody else holds it). Time passes in
`pass_us`.
"""

EXTENDED = 1 << 29
ATTEMPT_US = 260
_QUEUE = 3
_WARNING, _PASSIVE, _OFF = 96, 128, 256


class CAN:
    MODE_NORMAL, MODE_SLEEP, MODE_LOOPBACK, MODE_SILENT, MODE_SILENT_LOOPBACK = range(5)
    STATE_STOPPED, STATE_ACTIVE, STATE_WARNING, STATE_PASSIVE, STATE_BUS_OFF = range(5)
    FLAG_RTR, FLAG_EXT_ID, FLAG_UNORDERED = 1, 2, 16
    RECV_ERR_FULL, RECV_ERR_OVERRUN = 1, 2
    IRQ_TX, IRQ_RX, IRQ_TX_FAILED, IRQ_STATE = 1, 2, 4, 8
    TX_QUEUE_LEN, FILTERS_MAX = 3, 14

    def __init__(self, number, bitrate, **more):
        assert number == 1
        self.running = False
        self.handling = False
        self.wire = lambda _id, _data: "none"
        self.attempts = []  # (id, data)
        self.sent = []  # those that were acknowledged
        self.lost = 0  # frames that found their queue full
        self.whole = {}  # memoryview of a caller's list -> its whole room
        self.init(bitrate, **more)

    def init(self, bitrate, mode=0):
        assert not self.running, "the mode of a running controller is changed"
        self.running = True
        self.bitrate = bitrate
        self.mode = mode
        self.buffers = [None] * self.TX_QUEUE_LEN  # (id, data)
        self.ended = [False] * self.TX_QUEUE_LEN  # its interrupt is still to come
        self.queues = ([], [])
        self.filters = []
        self.flags = 0
        self.tec = self.rec = 0
        self.handler = None
        self.trigger = 0
        self.told = self.STATE_ACTIVE

    def deinit(self):
        self.running = False
        self.handler = None

    def _check(self):
        if not self.running:
            raise OSError(22)

    # ---- frames that come ------------------------------------------------------------------------------------------

    def set_filters(self, filters):
        self._check()
        self.filters = []
        for one, mask, flags in ((0, 0, 0), (0, 0, self.FLAG_EXT_ID)) if filters is None else filters:
            most = 1 << (29 if flags & self.FLAG_EXT_ID else 11)
            if len(self.filters) == self.FILTERS_MAX or one >= most or mask >= most or flags & ~self.FLAG_EXT_ID:
                raise ValueError("filters")
            self.filters.append((one, mask, flags))

    def came(self, frame_id, data, flags=0):
        number = frame_id & EXTENDED - 1
        if frame_id & EXTENDED:
            flags |= self.FLAG_EXT_ID
        for n in range(len(self.filters)):
            one, mask, sort = self.filters[n]
            if (number ^ one) & mask == 0 and sort == flags & self.FLAG_EXT_ID:
                self._keep(self.queues[n & 1], (number, bytes(data), flags))
                return

    def _keep(self, queue, frame):
        if len(queue) == _QUEUE:
            self.lost += 1
            self.flags |= self.RECV_ERR_OVERRUN
            return
        queue.append(frame)
        if len(queue) == _QUEUE:
            self.flags |= self.RECV_ERR_FULL
        if self.trigger & self.IRQ_RX:
            self._interrupt()

    def recv(self, result):
        self._check()
        for queue in self.queues:
            if queue:
                number, data, flags = queue.pop(0)
                room = self.whole.setdefault(id(result), result[1])
                room[: len(data)] = data if not flags & self.FLAG_RTR else bytes(len(data))
                result[0], result[1], result[2], result[3] = number, room[: len(data)], flags, self.flags
                self.flags = 0
                return result
        return None

    # ---- interrupts --------------------------------------------------------------------------------------------------

    def irq(self, handler=None, trigger=0, hard=False):
        self._check()
        assert hard and not trigger & ~(self.IRQ_RX | self.IRQ_STATE)
        self.handler = handler
        self.trigger = trigger

    def _interrupt(self):
        if self.handler and not self.handling:
            self.handling = True
            self.handler(self)
            self.handling = False

    def _settle(self):
        """The interrupts of what has been sent or taken back."""
        if not self.handling:
            for n in range(self.TX_QUEUE_LEN):
                if self.ended[n]:
                    self.buffers[n] = None
                    self.ended[n] = False

    # ---- frames that go --------------------------------------------------------------------------------------------

    def send(self, number, data, flags=0):
        self._check()
        assert self.mode == self.MODE_NORMAL, "a frame is to be sent in a mode that only listens"
        assert len(data) <= 8 and number < 1 << (29 if flags & self.FLAG_EXT_ID else 11)
        if self.state() == self.STATE_BUS_OFF:
            raise OSError(5)
        self._settle()
        frame_id = number | (EXTENDED if flags & self.FLAG_EXT_ID else 0)
        place = None
        for n in range(self.TX_QUEUE_LEN):
            if self.buffers[n] is None:
                place = n if place is None else place
            elif self.buffers[n][0] & EXTENDED - 1 == number and not flags & self.FLAG_UNORDERED:
                return None
        if place is not None:
            self.buffers[place] = (frame_id, bytes(data))
        return place

    def cancel_send(self, place):
        self._check()
        waits = self.buffers[place] is not None and not self.ended[place]
        if waits:
            self.ended[place] = True
            self._settle()
        return waits

    def pass_us(self, us):
        """What the controller does by itself in so long."""
        while us >= ATTEMPT_US and self.running and self.state() != self.STATE_BUS_OFF:
            us -= ATTEMPT_US
            self._settle()
            waiting = [n for n in range(self.TX_QUEUE_LEN) if self.buffers[n] and not self.ended[n]]
            if not waiting:
                return
            place = min(waiting, key=lambda n: self.buffers[n][0] & EXTENDED - 1)
            result = self.wire(*self.buffers[place])
            if result == "busy":
                continue
            self.attempts.append(self.buffers[place])
            if result == "ack":
                self.sent.append(self.buffers[place])
                self.ended[place] = True
                self.tec = max(0, self.tec - 1)
            elif result == "error" or self.tec < _PASSIVE:
                self.tec += 8
            self._tell()

    def _tell(self):
        """The interrupt of a state that is worse than the last one."""
        state = self.state()
        worse = state > self.told
        self.told = state
        if worse and self.trigger & self.IRQ_STATE:
            self._interrupt()

    def state(self):
        if not self.running:
            return self.STATE_STOPPED
        if self.tec >= _OFF:
            return self.STATE_BUS_OFF
        most = max(self.tec, self.rec)
        if most >= _PASSIVE:
            return self.STATE_PASSIVE
        return self.STATE_WARNING if most >= _WARNING else self.STATE_ACTIVE

    def get_counters(self, out):
        self._check()
        pending = sum([1 for one in self.buffers if one])
        out[:] = [self.tec & 0xFF, self.rec, 0, 0, 0, pending, len(self.queues[0]) + len(self.queues[1]), 0]
        return out
