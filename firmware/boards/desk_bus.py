"""The desk board's bus controller: the car is at the other end of a local socket, in the desk's own time.

A line each way. The desk sends what it did since its last line, then up to when time may pass:
`M <us> <kbit> <0|1 listening>;S <us> <id> <hex>;...T <us>`. The car answers `F <us> <id> <hex>` with the first frame
that comes until then, or `N <us of what comes next> <0|1 the last sending failed> <error counter>`.
"""

import socket
from binascii import hexlify, unhexlify

from drivers import can_frame

_NEVER = 1 << 60


class DeskBus:
    """board: the desk board. place: (host, port) of the car, or None for a bus on which there is nobody."""

    def __init__(self, board, place):
        self.board = board
        self.frame = can_frame.CanFrame()
        self.waiting = []
        self.did = ""
        self.next_us = 0
        self.listening = True
        self.kbit = 0
        self.only = None
        self.lost = False
        self.counter = 0
        self.handler = None
        self.line = None
        if place:
            self.line = socket.socket()
            self.line.connect(socket.getaddrinfo(place[0], place[1])[0][-1])
            self.line.settimeout(None)

    def on_frames(self, handler):
        """See drivers/can_frame.py."""
        self.handler = handler

    def listen(self, kbit, only):
        """See drivers/can_frame.py."""
        return self._mode(kbit, only, True)

    def normal(self, kbit, only):
        """See drivers/can_frame.py."""
        return self._mode(kbit, only, False)

    def _mode(self, kbit, only, listening):
        self.listening = listening
        self.kbit = kbit
        self.only = only
        self.lost = False
        self._note("M %d %d %d;" % (self.board.now, kbit, listening))
        return True

    def _note(self, what):
        if self.line:
            self.did += what
            self.next_us = 0

    def done(self, _frame):
        """See drivers/can_frame.py: `take` did it."""

    def send(self, frame_id, data):
        """See drivers/can_frame.py."""
        if self.listening:
            raise RuntimeError("a frame was to be sent while only listening is allowed")
        self.lost = self.line is None
        self._note("S %d %x %s;" % (self.board.now, frame_id, hexlify(data).decode()))

    def failed(self):
        """See drivers/can_frame.py."""
        if self.did:
            self.advance(self.board.now)
        return self.lost

    def errors(self):
        """See drivers/can_frame.py."""
        return self.counter

    def missed(self):
        """See drivers/can_frame.py."""
        return 0

    def look(self):
        """See drivers/can_frame.py."""

    def take(self, frame):
        """See drivers/can_frame.py."""
        if not self.waiting:
            return False
        frame.id, frame.length, frame.tick, data = self.waiting.pop(0)
        for n in range(8):
            frame.data[n] = data[n] if n < len(data) else 0
        return True

    def advance(self, until_us):
        """Time passes up to `until_us`: what comes meanwhile is handed on at its own time."""
        board = self.board
        if not self.line or (until_us < self.next_us and not self.did):
            return
        now = board.now
        while True:
            self.line.write("%sT %d\n" % (self.did, until_us))
            self.did = ""
            told = self.line.readline().split()
            if not told:
                raise OSError("the car has gone")
            if told[0] == b"N":
                self.next_us = int(told[1])
                self.lost = told[2] == b"1"
                self.counter = int(told[3])
                break
            frame_id = int(told[2], 16)
            if not can_frame.wanted(frame_id, self.only):
                continue
            data = unhexlify(told[3]) if len(told) > 3 else b""
            board.now = max(now, int(told[1]))
            self.waiting.append((frame_id, len(data), board.ticks_us(), data))
            if self.handler:
                self.handler()
        board.now = now
