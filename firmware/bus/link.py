"""Frames between the bus controller and the main loop: what must be done as soon as a frame comes is done here.

`arrived` is the controller's interrupt: it answers a message's first frame with a flow control, sends the next of the
requests that the main loop has laid ready when an answer is whole, and keeps the frame. It allocates nothing and waits
for nothing. Lines `# @micropython.native` are for the compiler: see host/ringpull/device/firmware_build.py.
"""

from drivers.can_frame import EXTENDED, eight
from shared_math import pace, ticks
from shared_math.compat import const, zeros
from shared_math.obd import transport

SLOTS = const(32)  # frames kept for the main loop
_FRAME = const(8)
TAGS = const(8)
APART_US = 1000000 // pace.QUESTIONS_HZ
AHEAD = const(2)  # requests laid ready at most: while the main loop looks through the heap they go on
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
        self.tag = 0  # of the request that was sent last,
        self.laid = 0  # and of the one that the main loop laid ready last
        self.sent_at = zeros(TAGS)
        self.waiting = False  # for an answer
        self.only = self.to_only = -1  # ids of the unit that was asked: of its answers, its own; -1: all were
        self.left = 0  # bytes of the answer that are still to come
        self.requests = bytearray(_FRAME), bytearray(_FRAME)  # by the lowest bit of their tags
        self.to = 0  # whom those that are laid ready are for,
        self.next_only = -1  # and whose answer they are to get
        self.go_on = transport.flow_control()
        # Where all are asked, eight may answer at once, and the main loop comes every 20 ms
        self.slowly = transport.flow_control(separation=10)
        self.no_room = transport.flow_control(transport.OVERFLOW)
        port.on_frames(self.arrived)

    # @micropython.native
    def arrived(self, _pin=None):
        """Interrupt handler: frames have come."""
        port = self.port
        frame = self.frame
        while port.take(frame):
            tag = self.tag
            if self.waiting and self.may_send:
                self._answer(frame)
            port.done(frame)
            head = self.head
            if (head - self.tail) & ticks.MASK >= SLOTS:
                self.lost += 1
            else:
                at = head & SLOTS - 1
                self.ids[at] = frame.id
                self.times[at] = frame.tick
                self.tags[at] = tag
                self.lengths[at] = frame.length
                eight(self.data, at << 3, frame.data, 0)  # pyright: ignore[reportCallIssue]
                self.head = (head + 1) & ticks.MASK

    # @micropython.native
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
        if self.laid != self.tag and (self.ticks_us() - self.sent_at[self.tag]) & ticks.MASK >= APART_US:
            self.send()

    def next_tag(self):
        """The tag of the request that is laid ready next; its bytes go into `requests[tag & 1]`."""
        return (self.laid + 1) & TAGS - 1

    def may_lay(self):
        """Whether another request can be laid ready."""
        return (self.laid - self.tag) & TAGS - 1 < AHEAD

    def lay(self, to, only):
        """The main loop has filled the next request: it goes to id `to` when `send` is called, or an answer is whole.
        Those that are laid ready already are for the same unit."""
        self.to = to
        self.next_only = only
        self.laid = self.next_tag()

    # @micropython.native
    def send(self):
        """Send the oldest request that is laid ready, once."""
        tag = (self.tag + 1) & TAGS - 1
        self.tag = tag
        self.only = self.next_only
        self.to_only = self.to
        self.left = 0
        self.sent += 1
        self.sent_at[tag] = self.ticks_us()
        self.port.send(self.to, self.requests[tag & 1])
        self.waiting = True  # only now: a stray frame must not make the interrupt send in between

    def may_go(self, now):
        """Whether the time since the last request allows another."""
        return not self.sent or (now - self.sent_at[self.tag]) & ticks.MASK >= APART_US

    def end_wait(self):
        """The answer is waited for no more; what is laid ready stays."""
        self.waiting = False
        self.left = 0

    def give_up(self):
        """No more is waited for, and nothing is ready."""
        self.end_wait()
        self.laid = self.tag

    def silent(self):
        """Nothing is sent any more, whatever comes."""
        self.may_send = False
        self.give_up()
