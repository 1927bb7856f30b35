"""Means over the newest samples that DMA has put into a ring in RAM, compiled: a reading costs no waiting."""

from array import array

import micropython


class Means:
    """Several inputs. ring: buffer of halfwords, four a round. left: the DMA's transfer counter, buffer or address.

    rounds: 4 or 16 to average. places: (place in the row, counted from the first, and input) for each. Counts have one
    bit more for 4 rounds, two for 16, and stand for the middle of their step; both ends of the converter's range stay
    recognisable as 0 and all ones.
    """

    def __init__(self, ring, left, rounds, places):
        self.ring = ring
        self.left = left
        gain = 1 if rounds == 4 else 2
        numbers = [len(ring) // 2 - 1, rounds, gain, 4095 * rounds, (4096 << gain) - 1, len(places)]
        for place, number in places:
            numbers += [place, number]
        self.state = array("i", numbers)

    @micropython.viper
    def put(self, row: ptr32, at: int, _grid: int) -> bool:
        """Write the counts of now to row[at + place] of each input. Always known: returns True."""
        s = ptr32(self.state)
        ring = ptr16(self.ring)
        left = ptr32(self.left)
        mask = s[0]
        rounds = s[1]
        newest = (0 - left[0]) & 0x7FFFFFC
        entry = 6
        end = 6 + 2 * s[5]
        while entry < end:
            here = newest + s[entry + 1]
            total = 0
            n = rounds
            while n > 0:
                n -= 1
                here -= 4
                total += ring[here & mask] & 0xFFF
            counts = 0
            if total == s[3]:
                counts = s[4]
            elif total > 0:
                counts = (total + (rounds >> 1)) >> s[2]
            row[at + s[entry]] = counts
            entry += 2
        return True
