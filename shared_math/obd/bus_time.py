"""How long questions and answers hold the bus. Frames of classical CAN with eight bytes, each at its longest.

Bits of a frame: ISO 11898-1 as public copies have it. Start, identifier, flags, length, data and check sum are stuffed,
one bit for each four after the first at most; delimiters, acknowledge, end and the pause between two frames are not.
"""

from shared_math.compat import const

_STUFFED = const(98)
_STUFFED_29 = const(118)
_REST = const(13)
_FIRST = const(6)  # bytes of a message in its first frame,
_NEXT = const(7)  # in each further one, and in a message of one frame at most


def frame_bits(extended):
    """Bits of a frame at most. extended: with an identifier of 29 bits."""
    stuffed = _STUFFED_29 if extended else _STUFFED
    return stuffed + (stuffed - 1) // 4 + _REST


def frames(length):
    """Frames of a question and its answer, with the flow control between them. length: of the answer's message in
    bytes, 0 where none came. A question of up to six parameters is one frame."""
    if not length:
        return 1
    if length <= _NEXT:
        return 2
    return 3 + (length - _FIRST + _NEXT - 1) // _NEXT


def share(count, extended, kbit, seconds):
    """The share of the bus's time, from 0 to 1, that `count` frames in so many seconds take at most."""
    return count * frame_bits(extended) / (1000 * kbit * seconds)
