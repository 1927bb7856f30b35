"""Frames between the bus controller and the main loop: what must be done as soon as a frame comes is done here.

`arrived` is the controller's interrupt: it keeps the frame, answers a message's first frame with a flow control, and
when an answer is whole sends the request that the main loop has laid ready. It allocates nothing and waits for nothing.
"""

from drivers.can_frame import EXTENDED
from shared_math import ticks
from shared_math.compat import const, zeros
from shared_math.obd import transport

SLOTS = const(32)  # frames kept for the main loop
_FRAME = const(8)
TAGS = const(8)
APART_US = const(20000)  # at most fifty requests a second
_PENDING = const(0x78)

_FIRST_REPLY = const(0x7E8)
_FIRST_ASKED = const(0x7E0)
_ALL = const(0x7DF)
_ALL_29 = const(0x18DB33F1 | 1 << 29)
_REPLY_29 = const(0x18DAF100 | 1 << 29)
_ASKED_29 = const(0x18DA00F1 | 1 << 29)


def asked_of(reply_id):
    """The id to which a unit listens that answers with `reply_id`; -1 where it is none of the diagnostic ids."""
    if _FIRST_REPLY <= reply_id < _FIRST_REPLY + 8:
        return reply_id - 8
    if reply_id & ~0xFF == _REPLY_29:
        return _ASKED_29 | (reply_id & 0xFF) << 8
    return -1


def everybody(extended):
    """The id to which all units listen."""
    return _ALL_29 if extended else _ALL


def of_a_tester(frame_id):
    """Whether a frame is what a tester asks."""
    if frame_id & EXTENDED:
        return frame_id == _ALL_29 or frame_id & ~0xFF00 == _ASKED_29
    return frame_id == _ALL or _FIRST_ASKED <= frame_id < _FIRST_ASKED + 8


class Link:
    """port: a controller of drivers/ or boards/. ticks_us: the board's clock. room: bytes of the longest message."""

    def __init__(self, port, ticks_us, room):
        self.port = port
        self.ticks_us = ticks_us
        self.room = room
        self.frame = port.frame
        self.ids = zeros(SLOTS)
        self.times = zeros(SLOTS)
        self.tags = bytearray(SLOTS)
        self.lengths = bytearray(SLOTS)
        self.data = bytearray(_FRAME * SLOTS)
        self.head = 0
        self.tail = 0
        self.lost = 0  # frames that found no room
        self.may_send = False
        self.sent = 0  # requests since the start
        self.tag = 0  # of the request that is waited for
        self.sent_at = zeros(TAGS)
        self.waiting = False  # for an answer
        self.only = self.to_only = -1  # ids of the unit that was asked: of its answers, its own; -1: all were
        self.left = 0  # bytes of the answer that are still to come
        self.request = bytearray(_FRAME)
        self.to = 0  # whom the request that is laid ready is for,
        self.next_only = -1  # and whose answer it is to get
        self.armed = False
        self.go_on = transport.flow_control()
        # Where all are asked, eight may answer at once, and the main loop comes every 20 ms
        self.slowly = transport.flow_control(separation=10)
        self.no_room = transport.flow_control(transport.OVERFLOW)
        port.on_frames(self.arrived)

    def arrived(self, _pin=None):
        """Interrupt handler: frames have come."""
        port = self.port
        frame = self.frame
        while port.take(frame):
            head = self.head
            if (head - self.tail) & ticks.MASK >= SLOTS:
                self.lost += 1
            else:
                at = head & SLOTS - 1
                self.ids[at] = frame.id
                self.times[at] = frame.tick
                self.tags[at] = self.tag
                self.lengths[at] = frame.length
                data = frame.data
                to = self.data
                start = at << 3
                for n in range(_FRAME):
                    to[start + n] = data[n]
                self.head = (head + 1) & ticks.MASK
            if self.waiting and self.may_send:
                self._answer(frame)

    def _answer(self, frame):
        """Flow control where it is due, and the next request where the answer is whole."""
        frame_id = frame.id
        only = self.only
        if only >= 0 and frame_id != only:
            return
        back = asked_of(frame_id) if only < 0 else self.to_only
        if back < 0:
            return
        data = frame.data
        kind = data[0] >> 4
        if kind == 1:
            size = (data[0] & 0x0F) << 8 | data[1]
            fits = size <= self.room
            go_on = self.go_on if only >= 0 else self.slowly
            self.port.send(back, go_on if fits else self.no_room)
            self.left = size - 6 if fits else 0
            return
        if only < 0:
            return
        if kind == 2:
            self.left -= 7
            if self.left > 0:
                return
        elif kind or data[1] == 0x7F and data[3] == _PENDING:
            return
        self.left = 0
        self.waiting = False
        if self.armed and (frame.tick - self.sent_at[self.tag]) & ticks.MASK >= APART_US:
            self.send()

    def lay(self, to, only):
        """The main loop has filled `request`: it goes to id `to` as soon as `send` is called."""
        self.to = to
        self.next_only = only

    def send(self):
        """Send the request that is laid ready, once."""
        self.armed = False
        tag = (self.tag + 1) & TAGS - 1
        self.tag = tag
        self.only = self.next_only
        self.to_only = self.to
        self.left = 0
        self.sent += 1
        self.sent_at[tag] = self.ticks_us()
        self.port.send(self.to, self.request)
        self.waiting = True  # only now: a stray frame must not make the interrupt send in between

    def may_go(self, now):
        """Whether the time since the last request allows another."""
        return not self.sent or (now - self.sent_at[self.tag]) & ticks.MASK >= APART_US

    def give_up(self):
        """No more is waited for."""
        self.waiting = False
        self.armed = False
        self.left = 0

    def silent(self):
        """Nothing is sent any more, whatever comes."""
        self.may_send = False
        self.give_up()
