"""ISO 15765-2 with normal addressing on classical CAN: messages put together and cut into frames, in fixed buffers.

Frame kinds, lengths and separation times: ISO 15765-2:2016, 9.4 and 9.6 as public copies have them. Times of the
emissions rules (ISO 15765-4): value from memory, N_As 25 ms, N_Bs 75 ms, N_Cr 150 ms.
"""

from shared_math.compat import const

FRAME = const(8)
MOST_LENGTH = const(4095)  # of a message whose first frame has 12 bits for it
PADDING = const(0)

N_AS_US = const(25000)
N_BS_US = const(75000)
N_CR_US = const(150000)

# What `Receiver.take` gives
NOTHING = const(0)
WHOLE = const(1)  # a message is complete
FIRST = const(2)  # its beginning came: a flow control is due at once
TOO_LONG = const(3)  # longer than the buffer: a flow control that says so is due at once

# Flow states
GO_ON = const(0)
WAIT = const(1)
OVERFLOW = const(2)

# What a receiver counts
STRANGE = const(0)  # no frame of this transport, or of a length that it can't have
ORPHANED = const(1)  # goes on with a message that was never begun
DOUBLED = const(2)
LOST = const(3)  # messages that were begun and never became whole
LONG = const(4)  # messages longer than the buffer
LATE = const(5)  # frames and answers that came after the time allowed for them
COUNTS = const(6)


def flow_control(state=GO_ON, block_size=0, separation=0):
    """The eight bytes of a flow control frame."""
    return bytes((0x30 | state, block_size, separation, PADDING, PADDING, PADDING, PADDING, PADDING))


def separation_us(byte):
    """Least microseconds between two frames that a flow control's third byte asks for; what is reserved asks for the
    longest time."""
    if byte <= 0x7F:
        return 1000 * byte
    if 0xF1 <= byte <= 0xF9:
        return 100 * (byte - 0xF0)
    return 127000


class Receiver:
    """Puts together the messages of one unit. room: bytes of the longest. counts: a list shared by several, or None.

    Takes frames without allocating anything. A message is in payload[:length] until the next frame is taken.
    """

    def __init__(self, room, counts=None):
        self.room = room
        self.payload = bytearray(room)
        self.counts = [0] * COUNTS if counts is None else counts
        self.length = 0
        self.open = False  # a message is begun and not whole
        self._got = 0
        self._next = 0

    def forget(self):
        """Give up a message that is not whole."""
        if self.open:
            self.open = False
            self.counts[LOST] += 1

    def take(self, data, length):
        """Take the first `length` bytes of `data`; what has happened: NOTHING, WHOLE, FIRST or TOO_LONG."""
        if not 1 <= length <= FRAME:
            self.counts[STRANGE] += 1
            return NOTHING
        kind = data[0] >> 4
        if kind == 2:
            return self._consecutive(data, length)
        if kind == 0:
            return self._single(data, length)
        if kind == 1:
            return self._first(data, length)
        if kind != 3:  # flow control is for who sends
            self.counts[STRANGE] += 1
        return NOTHING

    def _single(self, data, length):
        size = data[0] & 0x0F
        if not 1 <= size < length or size > self.room:
            self.counts[STRANGE] += 1
            return NOTHING
        self.forget()
        for at in range(size):
            self.payload[at] = data[at + 1]
        self.length = size
        return WHOLE

    def _first(self, data, length):
        size = (data[0] & 0x0F) << 8 | data[1] if length == FRAME else 0
        if size < FRAME:
            self.counts[STRANGE] += 1
            return NOTHING
        self.forget()
        if size > self.room:
            self.counts[LONG] += 1
            return TOO_LONG
        for at in range(6):
            self.payload[at] = data[at + 2]
        self.length = size
        self._got = 6
        self._next = 1
        self.open = True
        return FIRST

    def _consecutive(self, data, length):
        if not self.open:
            self.counts[ORPHANED] += 1
            return NOTHING
        number = data[0] & 0x0F
        if number != self._next:
            if self._again(data, length, number):
                self.counts[DOUBLED] += 1
            else:
                self.forget()
            return NOTHING
        size = self.length - self._got
        if size > FRAME - 1:
            size = FRAME - 1
        if length <= size:
            self.forget()
            return NOTHING
        got = self._got
        for at in range(size):
            self.payload[got + at] = data[at + 1]
        self._got = got + size
        self._next = (number + 1) & 0x0F
        if self._got < self.length:
            return NOTHING
        self.open = False
        return WHOLE

    def _again(self, data, length, number):
        """Whether this is the frame before once more."""
        if number != (self._next - 1) & 0x0F or length < FRAME or self._got < 6 + FRAME - 1:
            return False
        before = self._got - (FRAME - 1)
        for at in range(FRAME - 1):
            if self.payload[before + at] != data[at + 1]:
                return False
        return True


class Sender:
    """Cuts one message at a time into frames, as the other side's flow control allows. Times are microseconds that the
    caller counts, in any one way without wrap.

    padding: the byte that fills frames to eight, or None for frames as short as can be.
    """

    def __init__(self, padding=PADDING):
        self.padding = padding
        self.failed = False  # the other side gave no leave in time, or has no room
        self._payload = b""
        self._at = 0
        self._number = 0
        self._left = 0  # frames that may go before the next flow control; -1: all
        self._apart_us = 0
        self._due_us = 0
        self._asked_us = -1  # since when a flow control is waited for

    def begin(self, payload):
        """Send `payload` next; whatever was being sent ends. ValueError where it is empty or too long."""
        if not 1 <= len(payload) <= MOST_LENGTH:
            raise ValueError("1 to %d bytes" % MOST_LENGTH)
        self._payload = bytes(payload)
        self._at = 0
        self._due_us = 0
        self._asked_us = -1
        self.failed = False

    def busy(self):
        """Whether frames are left."""
        return not self.failed and self._at < len(self._payload)

    def frame(self, now_us):
        """The next frame's bytes, or None while none may go."""
        payload = self._payload
        if not self.busy():
            return None
        if not self._at:
            if len(payload) < FRAME:
                self._at = len(payload)
                return self._filled(bytes((len(payload),)) + payload)
            self._at = 6
            self._number = 1
            self._left = 0
            self._asked_us = now_us
            return bytes((0x10 | len(payload) >> 8, len(payload) & 0xFF)) + payload[:6]
        if not self._left:
            if now_us - self._asked_us > N_BS_US:
                self.failed = True
            return None
        if now_us < self._due_us:
            return None
        out = bytes((0x20 | self._number,)) + payload[self._at : self._at + FRAME - 1]
        self._at += FRAME - 1
        self._number = (self._number + 1) & 0x0F
        self._due_us = now_us + self._apart_us
        if self._left > 0:
            self._left -= 1
            if not self._left:
                self._asked_us = now_us
        return self._filled(out)

    def flow(self, data, now_us):
        """The other side's flow control frame came."""
        if len(data) < 3 or data[0] >> 4 != 3 or self._left or not self._at or not self.busy():
            return
        state = data[0] & 0x0F
        if state == GO_ON:
            self._left = data[1] or -1
            self._apart_us = separation_us(data[2])
            self._due_us = now_us
        elif state == WAIT:
            self._asked_us = now_us
        else:
            self.failed = True

    def _filled(self, data):
        if self.padding is None:
            return data
        return data + bytes((self.padding,)) * (FRAME - len(data))
