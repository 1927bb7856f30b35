"""Microsecond ticks that wrap at 2^30, like MicroPython's, and 32-bit sequence numbers that wrap.

No intermediate result of the tick functions exceeds 2^30, so that nothing goes to the heap on a board with 31-bit small
integers. Sequence numbers are full 32-bit words, which are heap objects there and must not be used in handlers.
"""

from shared_math.compat import const

MASK = const(0x3FFFFFFF)
_HALF = const(0x20000000)
_SEQUENCE_MASK = 0xFFFFFFFF
_SEQUENCE_HALF = 0x80000000


def add(tick, us):
    """The tick `us` microseconds after `tick` (before it if negative); |us| below 2^30."""
    if us < 0:
        return (tick + us) & MASK
    return (tick - MASK + us - 1) & MASK


def diff(later, earlier):
    """Microseconds from `earlier` to `later`, -2^29 to 2^29 - 1; valid if they are less than 536 s apart."""
    us = (later - earlier) & MASK
    if us >= _HALF:
        return us - MASK - 1
    return us


def seq_distance(a, b):
    """Steps forward from sequence number `a` to `b`, negative if b is older (serial arithmetic, RFC 1982)."""
    return ((b - a + _SEQUENCE_HALF) & _SEQUENCE_MASK) - _SEQUENCE_HALF


def seq_after(a, b):
    """Whether sequence number `a` is newer than `b`."""
    return 0 < ((a - b) & _SEQUENCE_MASK) < _SEQUENCE_HALF
