"""Means over the newest samples that DMA has put into a ring in RAM, compiled: a reading costs no waiting."""

from array import array

import micropython


class Mean:
    """One input. ring: buffer of halfwords, four a round. left: the DMA's transfer counter, buffer or address.

    rounds: 4 or 16 to average. Counts have one bit more for 4, two for 16, and stand for the middle of their step.
    """

    def __init__(self, ring, left, number, rounds):
        self.ring = ring
        self.left = left
        gain = 1 if rounds == 4 else 2
        # halfwords in the ring - 1, rounds, input, shift, rounding, greatest sum, its count
        self.state = array(
            "i", [len(ring) // 2 - 1, rounds, number, gain, rounds >> 1, 4095 * rounds, (4096 << gain) - 1]
        )

    @micropython.viper
    def read(self) -> int:
        """Counts now; both ends of the converter's range stay recognisable as 0 and all ones."""
        s = ptr32(self.state)
        ring = ptr16(self.ring)
        left = ptr32(self.left)
        mask = s[0]
        rounds = s[1]
        at = ((0 - left[0]) & 0x7FFFFFC) + s[2]
        total = 0
        while rounds > 0:
            rounds -= 1
            at -= 4
            total += ring[at & mask] & 0xFFF
        if total == 0:
            return 0
        if total == s[5]:
            return s[6]
        return (total + s[4]) >> s[3]


def reader(ring, left, number, rounds):
    """A function without arguments that reads one input: see Mean."""
    return Mean(ring, left, number, rounds).read
