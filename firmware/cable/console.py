"""A console's bytes, taken and given without waiting: what nobody reads is not sent."""

import select

from shared_math import cable

_MOST_BYTES = 64  # read in one turn


class Console:
    """source, sink: byte streams that can be polled, such as sys.stdin.buffer and sys.stdout.buffer."""

    def __init__(self, source, sink):
        self.source = source
        self.sink = sink
        self._in = select.poll()
        self._in.register(source, select.POLLIN)
        self._out = select.poll()
        self._out.register(sink, select.POLLOUT)
        self._one = bytearray(1)
        self._line = bytearray(cable.MOST_LINE)
        self._held = 0

    def called(self):
        """Whether bytes wait to be read."""
        for _ in self._in.ipoll(0):
            return True
        return False

    def takes(self):
        """Whether a packet can be sent without waiting for the other side."""
        for _ in self._out.ipoll(0):
            return True
        return False

    def request(self):
        """The next line that has come, as bytes, or None. Reads no more than waits, and a few bytes at a time."""
        for _ in range(_MOST_BYTES):
            if not self.called():
                return None
            if not self.source.readinto(self._one):
                return None
            byte = self._one[0]
            if byte == cable.START:
                self._held = 0
            elif not self._held:
                continue  # somebody types, or the rest of a line that was too long
            if self._held == cable.MOST_LINE:
                self._held = 0
                continue
            self._line[self._held] = byte
            self._held += 1
            if byte == 10:
                held = self._held
                self._held = 0
                return bytes(self._line[:held])
        return None
