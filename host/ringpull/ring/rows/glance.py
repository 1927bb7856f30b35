"""A fast look at columns that seldom change, without unpacking: the reference of each packed block, and whether the
column is constant in it. The marks in a gigabyte are found in a fraction of a second."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from shared_math import layout


@dataclass
class Glance:
    """References of packed blocks.

    first: column -> (n,) int64: the first value, or the least if offsets are stored. constant: column -> (n,) bool.
    """

    first: dict[int, np.ndarray]
    constant: dict[int, np.ndarray]

    def of(self, which: np.ndarray) -> Glance:
        """The references of some of the blocks."""
        return Glance(
            {c: values[which] for c, values in self.first.items()},
            {c: values[which] for c, values in self.constant.items()},
        )


def glance(blocks: np.ndarray, bits: list[int], which: Collection[int]) -> Glance:
    """Look at some columns of blocks.

    blocks: (n, 512) uint8; the result is undefined for those that are not PACKED. bits: the columns' widths. which:
    numbers of the columns.
    """
    count = len(blocks)
    halves = blocks.view("<u2")
    # eight bytes from any byte as one item; the last items begin in the CRC and are never used
    items = np.ndarray((max(0, blocks.size - 7),), np.dtype("V8"), blocks, strides=(1,))
    base = np.arange(count, dtype=np.int64) * layout.SLOT
    out = Glance({}, {})
    begin = layout.AT_PAYLOAD * 8 + layout.DESCRIPTOR_BITS * len(bits)
    extra = np.zeros(count, np.int32)  # bits of the difference references before a column
    done = 0
    for c in sorted(which):
        for at, table in _tables(tuple(bits), done, c):
            extra += table.take(halves[:, at])
        done = c
        # a stream that runs past its end is invalid: reads for it must only stay inside the block
        place = np.minimum(extra + (begin + sum(bits[:c])), layout.AT_CRC * 8 - 32)
        word = items[base + (place >> 3)].view("<u8")
        out.first[c] = (word >> (place & 7).astype(np.uint64)).astype(np.int64) & ((1 << bits[c]) - 1)
        bit = layout.AT_PAYLOAD * 8 + layout.DESCRIPTOR_BITS * c
        pair = blocks[:, bit >> 3].astype(np.uint16) | blocks[:, (bit >> 3) + 1].astype(np.uint16) << 8
        out.constant[c] = (pair >> (bit & 7) & 0x3F) == 0
    return out


@lru_cache(maxsize=64)
def _tables(bits: tuple[int, ...], low: int, high: int) -> list[tuple[int, np.ndarray]]:
    """(number of a 16-bit word in the block, (65536,) bits of second references that each value of the word implies).

    The word holds method flags; for columns low .. high - 1.
    """
    adds: dict[int, np.ndarray] = {}
    value = np.arange(1 << 16, dtype=np.int32)
    for c in range(low, high):
        flag = layout.AT_PAYLOAD * 8 + layout.DESCRIPTOR_BITS * c + layout.DESCRIPTOR_BITS - 1
        table = adds.setdefault(flag >> 4, np.zeros(1 << 16, np.int32))
        table += (value >> (flag & 15) & 1) * (bits[c] + 1)
    return sorted(adds.items(), key=lambda item: item[0])
