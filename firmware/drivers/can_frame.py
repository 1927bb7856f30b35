"""What every bus controller of this folder, and the desk's, has in common.

    frame               the CanFrame that `take` fills
    on_frames(handler)  `handler` is called as soon as frames have come; it may call `take` and `send`
    listen(kbit, only)  take frames and never send, not even an acknowledgement; whether the chip is there
    normal(kbit, only)  the same, and `send` is allowed
    send(id, data)      send eight bytes, once: what is not acknowledged is not sent again
    failed()            whether the last `send` was not acknowledged, or ended in an error
    take(frame)         the oldest frame that has come into `frame`, but for its tick; whether there was one
    done(frame)         after each `take`, once what hurries is done: the tick, and the chip goes on to the next frame
    errors()            the larger of the controller's two error counters, 256 where it has left the bus
    missed()            how often the chip had no room for a frame, since the start
    look()              from the main loop: call the handler for frames that wait without an interrupt having told of it

only: (id, mask) of the frames that are wanted, None for all. Bit 29 of an id marks one of 29 bits.
"""

from shared_math.compat import const

EXTENDED = const(1 << 29)
OFF = const(256)  # of errors(): the controller has left the bus


class CanFrame:
    """id: with EXTENDED added to one of 29 bits. data: eight bytes of which `length` count. tick: of the arrival."""

    def __init__(self):
        self.id = 0
        self.length = 0
        self.tick = 0
        self.data = bytearray(8)


def _eight(to, at, source, start):
    """to[at : at + 8] = source[start : start + 8], without allocating."""
    for n in range(8):
        to[at + n] = source[start + n]


def _fastest():
    try:
        from drivers.viper_copy import eight
    except (ImportError, SyntaxError, ValueError, AttributeError):  # of the last kind: CPython, with stubs
        return _eight
    return eight


eight = _fastest()


def wanted(frame_id, only):
    """Whether a frame passes the filters `only`."""
    if only is None:
        return True
    for one, mask in only:
        if (frame_id ^ one) & mask == 0:
            return True
    return False
