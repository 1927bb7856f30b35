"""Differences between the two runtimes: `const` exists only on MicroPython, and large arrays need care there."""

from array import array

try:
    from micropython import const  # pyright: ignore[reportAssignmentType]
except ImportError:

    def const(value):
        """The value itself; MicroPython's compiler has a const() of its own."""
        return value


def zeros(count):
    """array('i') of `count` zeros, grown in pieces: made from bytes it would need twice the memory for a moment."""
    out = array("i")
    piece = array("i", bytes(4 * 64))
    while count >= 64:
        out.extend(piece)
        count -= 64
    out.extend(piece[:count])
    return out
