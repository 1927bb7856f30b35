"""unpack.unpack compiled by numba, if it is installed: the same rows and the same checks, block by block.

Used for large files only, since loading numba (and compiling once per user) takes longer than reading a small file. It
releases Python's lock, so two threads can run it.
"""

from __future__ import annotations

import sys
from typing import NamedTuple

import numpy as np
from numba import njit

from shared_math import layout

_BIT = layout.AT_PAYLOAD * 8
_END = layout.AT_CRC * 8
_HALF = layout.AT_PAYLOAD // 2
_ROOM = layout.PAYLOAD
_KIND, _PLAIN = layout.AT_KIND, layout.PLAIN
_ROWS, _ROWS_MASK = layout.AT_ROWS // 2, layout.ROWS_MASK
_FIRST = layout.AT_FIRST_ROW // 2
_DESCRIPTOR, _WIDTH = layout.DESCRIPTOR_BITS, layout.WIDTH_MASK
_LAST_PAIR = layout.SLOT // 4 - 2
spot = np.uintp  # type of an index: numba checks a signed index for being negative, which halves the speed

if sys.byteorder != "little":
    raise ImportError("compiled unpacking reads words as little-endian machines do")


class _Source(NamedTuple):
    """The blocks as bytes, 32-bit words and 16-bit words, one row per block."""

    blocks: np.ndarray
    words: np.ndarray
    halves: np.ndarray


class _Tables(NamedTuple):
    """The destinations of columns. place: k + 1 for column k of the narrow table, -k - 1 for the wide one, 0 if not
    wanted. rows: number of rows of each table, whose columns follow each other."""

    place: np.ndarray
    rows: int
    narrow: np.ndarray
    wide: np.ndarray


@njit(cache=True, nogil=True)
def _take(words, at, count):
    """`count` (up to 31) bits at bit `at` of a block of 32-bit words; undefined beyond its end."""
    pair = min(at >> 5, _LAST_PAIR)
    both = np.int64(words[pair]) | np.int64(words[pair + 1]) << 32
    # an arithmetic shift copies the sign bit; the mask removes it, since count + shift is below 64
    return both >> (at & 31) & ((np.int64(1) << count) - 1)


@njit(cache=True, nogil=True)
def _measure(blocks, words, halves, bits, rows, bad):
    """Write the rows of each block, and whether its descriptors and rows fit into it."""
    size = 0
    for b in bits:
        size += 2 if b <= 16 else 4
    for i in range(len(blocks)):
        count = np.int64(halves[i, _ROWS]) & _ROWS_MASK
        rows[i] = count
        if count == 0:
            bad[i] = True
        elif blocks[i, _KIND] == _PLAIN:
            bad[i] = count > _ROOM // size
        else:
            at = np.int64(_BIT)
            total = np.int64(_BIT) + _DESCRIPTOR * len(bits)
            for b in bits:
                word = _take(words[i], at, _DESCRIPTOR)
                at += _DESCRIPTOR
                stepped = word >> 5
                total += b + stepped * (b + 1) + (word & _WIDTH) * (count - stepped)
            bad[i] = total > _END


@njit(cache=True, nogil=True)
def _packed(words, bits, tables, begin, count, fields):
    """Unpack one packed block to row `begin` of the tables; returns whether a value exceeds its width. fields: work
    array."""
    place, total = tables.place, tables.rows
    at = np.int64(_BIT)
    for c in range(len(bits)):
        word = _take(words, at, _DESCRIPTOR)
        at += _DESCRIPTOR
        fields[c, 0] = word & _WIDTH
        fields[c, 1] = word >> 5
    for c in range(len(bits)):
        b = bits[c]
        fields[c, 2] = _take(words, at, b)
        at += b
        if fields[c, 1]:
            step = _take(words, at, b + 1)
            fields[c, 3] = step - (step >> b << (b + 1))
            at += b + 1
    wrong = False
    for c in range(len(bits)):
        if place[c] > 0:
            seen = _column(words, at, fields[c], tables.narrow, (place[c] - 1) * total + begin, count)
            wrong |= seen < 0 or seen >> bits[c] != 0
        elif place[c] < 0:
            seen = _column(words, at, fields[c], tables.wide, (-place[c] - 1) * total + begin, count)
            wrong |= seen < 0 or seen >> bits[c] != 0
        at += fields[c, 0] * (count - fields[c, 1])
    return wrong


@njit(cache=True, nogil=True)
def _column(words, at, field, out, begin, count):
    """Unpack one column of one packed block to out[begin...]; returns the bitwise or of its values.

    That is negative, or has a bit too high, if a value exceeds the column's width. field: width, whether differences
    are stored, and the two references.
    """
    width, stepped, value, step = field[0], field[1], field[2], field[3]
    seen = value
    if width == 0:  # a read at the very end of the block would also go past it
        out[begin] = value
        for r in range(begin + 1, begin + count):
            value += step * stepped
            out[spot(r)] = value
            seen |= value
        return seen
    mask = (np.int64(1) << width) - 1
    if not stepped:
        for r in range(begin, begin + count):
            both = np.int64(words[spot(at >> 5)]) | np.int64(words[spot((at >> 5) + 1)]) << 32
            got = value + (both >> (at & 31) & mask)
            at += width
            seen |= got
            out[spot(r)] = got
        return seen
    out[begin] = value
    for r in range(begin + 1, begin + count):
        both = np.int64(words[spot(at >> 5)]) | np.int64(words[spot((at >> 5) + 1)]) << 32
        value += step + (both >> (at & 31) & mask)
        at += width
        seen |= value
        out[spot(r)] = value
    return seen


@njit(cache=True, nogil=True)
def _plain(halves, bits, tables, begin, count):
    """Unpack one plain block; returns whether a value exceeds its width."""
    place, total, out16, out32 = tables.place, tables.rows, tables.narrow, tables.wide
    at = np.int64(_HALF)
    wrong = False
    for c in range(len(bits)):
        seen = np.int64(0)
        if place[c] > 0:
            first = (place[c] - 1) * total + begin
            for r in range(count):
                got = halves[spot(at + r)]
                seen |= np.int64(got)
                out16[spot(first + r)] = got
        elif place[c] < 0:
            first = (-place[c] - 1) * total + begin
            for r in range(count):
                got = np.uint32(halves[at + 2 * r]) | np.uint32(halves[at + 2 * r + 1]) << np.uint32(16)
                seen |= np.int64(got)
                out32[spot(first + r)] = got
        at += count if bits[c] <= 16 else 2 * count
        wrong |= seen >> bits[c] != 0
    return wrong


@njit(cache=True, nogil=True)
def _fill(source, bits, tables, taken, bad, row):
    """Unpack every block in order; mark those whose values exceed their width."""
    halves = source.halves
    fields = np.zeros((len(bits), 4), np.int64)
    begin = np.int64(0)
    for i in range(len(taken)):
        count = taken[i]
        if count == 0:
            continue
        first = np.int64(halves[i, _FIRST]) | np.int64(halves[i, _FIRST + 1]) << 16
        for r in range(count):
            row[spot(begin + r)] = first + r
        if source.blocks[i, _KIND] == _PLAIN:
            bad[i] = _plain(halves[i], bits, tables, begin, count)
        else:
            bad[i] = _packed(source.words[i], bits, tables, begin, count, fields)
        begin += count


def unpack(blocks: np.ndarray, bits: list[int], which: list[int]) -> tuple[np.ndarray, dict, np.ndarray, np.ndarray]:
    """(row, columns, bad, taken) as in unpack.Rows, but still with rows of bad blocks if their size fits.

    blocks: (n, 512) uint8, contiguous. which: numbers of the wanted columns, rising.
    """
    count = len(blocks)
    words, halves = blocks.view("<u4"), blocks.view("<u2")
    rows, bad = np.zeros(count, np.int64), np.zeros(count, np.bool_)
    widths = np.array(bits, np.int64)
    _measure(blocks, words, halves, widths, rows, bad)
    taken = np.where(bad, 0, rows)
    total = int(taken.sum())
    place = np.zeros(len(bits), np.int64)
    narrow = [c for c in which if bits[c] <= 16]
    wide = [c for c in which if bits[c] > 16]
    place[narrow] = np.arange(1, len(narrow) + 1)
    place[wide] = -np.arange(1, len(wide) + 1)
    out16, out32 = np.empty((len(narrow), total), "<u2"), np.empty((len(wide), total), "<u4")
    row = np.empty(total, np.int64)
    tables = _Tables(place, total, out16.ravel(), out32.ravel())
    _fill(_Source(blocks, words, halves), widths, tables, taken, bad, row)
    both = {c: out16[at] for at, c in enumerate(narrow)} | {c: out32[at] for at, c in enumerate(wide)}
    return row, {c: both[c] for c in which}, bad, taken
