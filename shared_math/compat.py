"""The one place where the two runtimes differ: `const` exists on MicroPython only, and large arrays need care there."""

from array import array

try:
    from micropython import const  # pyright: ignore[reportAssignmentType]
except ImportError:

    def const(value):
        """MicroPython's compiler folds const(); elsewhere it is the value itself."""
        return value


def zeros(count):
    """array('i') of `count` zeros, grown in pieces: made from bytes it would need twice its room for a moment."""
    out = array("i")
    piece = array("i", bytes(4 * 64))
    while count >= 64:
        out.extend(piece)
        count -= 64
    out.extend(piece[:count])
    return out
