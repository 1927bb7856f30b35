"""A DMA channel that fills a ring in RAM from a peripheral for ever, and a second one that starts it anew.

The first channel counts MOST transfers down, then hands over to the second, which writes MOST into its counter again:
at 64,000 transfers a second that happens every 35 minutes, and the FIFO holds what arrives meanwhile.
"""

import gc
from array import array

import rp2
import uctypes

# RP2350: the four highest bits of a count are its mode, 0 being the plain one
MOST = 0x8000000  # a multiple of every ring's length, so that the counter tells the place in the ring

_DMA = 0x50000000  # RP2040 data sheet, 2.5.7, RP2350 alike: 0x40 bytes a channel
_COUNT = 0x08  # TRANS_COUNT
_COUNT_TRIGGER = 0x1C  # AL1_TRANS_COUNT_TRIG
_HEAP_BLOCK = 16
_HEADS = 4  # an array's own head may lie in that room too


def aligned(length):
    """A bytearray that lies on a multiple of its own length, a power of two.

    Where the heap lets it, the room before that multiple is left to others, which halves what a ring costs.
    """
    room = bytearray(2 * length)
    start = -uctypes.addressof(room) & (length - 1)
    room = None
    for heads in range(_HEADS):
        gc.collect()
        ring = _behind(start - heads * _HEAP_BLOCK, length)
        if not uctypes.addressof(ring) & (length - 1):
            return ring
        ring = None
    gc.collect()
    room = bytearray(2 * length)
    start = -uctypes.addressof(room) & (length - 1)
    return memoryview(room)[start : start + length]


def _behind(before, length):
    """A bytearray in the first room that is free behind so many bytes, which are free again on return."""
    if before > 0:
        taken = bytearray(before)  # noqa: F841  held while the other is made
    return bytearray(length)


class DmaRing:
    """source: address of a FIFO. dreq: its request number. size: 0 bytes, 1 halfwords, 2 words. bits: 2^bits bytes."""

    def __init__(self, source, dreq, size, bits):
        self.buffer = memoryview(aligned(1 << bits))
        self.most = array("I", [MOST])
        self.data = rp2.DMA()
        self.again = rp2.DMA()
        base = _DMA + 0x40 * self.data.channel  # pyright: ignore[reportAttributeAccessIssue]
        self.left = base + _COUNT
        control = self.again.pack_ctrl(size=2, inc_read=False, inc_write=False)
        self.again.config(read=self.most, write=base + _COUNT_TRIGGER, count=1, ctrl=control)
        control = self.data.pack_ctrl(
            size=size,
            inc_read=False,
            ring_size=bits,
            ring_sel=True,
            treq_sel=dreq,
            chain_to=self.again.channel,  # pyright: ignore[reportAttributeAccessIssue]
        )
        self.data.config(read=source, write=self.buffer, count=MOST, ctrl=control, trigger=True)
