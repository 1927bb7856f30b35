"""CRC-32 of many blocks at once."""

from __future__ import annotations

import zlib
from functools import cache

from shared_math import layout

try:
    from isal.isal_zlib import crc32
except ImportError:  # the same function, slower
    from zlib import crc32


@cache
def of_valid(blocks: int) -> int:
    """CRC-32 of any `blocks` blocks that each end in their own CRC-32; it depends only on their number.

    CRC-32 is linear: a message followed by its own CRC leaves a register that does not depend on the message.
    """
    one = bytes(layout.AT_CRC)
    one += zlib.crc32(one).to_bytes(4, "little")
    return zlib.crc32(one * blocks)


def wrong(chunk: memoryview, first: int, count: int, out: list[int]) -> None:
    """Append to `out` the numbers of the blocks first .. first + count - 1 of `chunk` whose CRC is wrong, in order.

    Halves the stretch until its parts are right or single blocks, so a hundred thousand right blocks cost a few calls.
    """
    slot = layout.SLOT
    if crc32(chunk[first * slot : (first + count) * slot]) == of_valid(count):
        return
    if count > 16:
        half = count // 2
        wrong(chunk, first, half, out)
        wrong(chunk, first + half, count - half, out)
        return
    right = of_valid(1)
    for number in range(first, first + count):
        if crc32(chunk[number * slot : (number + 1) * slot]) != right:
            out.append(number)
