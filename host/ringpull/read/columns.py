"""Packed and plain blocks -> columns, many blocks at once.

Blocks are taken in tiles of similar row counts; in a tile each column is a matrix of blocks by rows. A value of w
bits at bit p of a block is cut out of the two 16-bit words (or 32-bit words, for wide columns) it begins in.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from shared_math import layout

TILE_VALUES = 1 << 16  # of one column, rows padded: what is worked on should stay in the processor's cache
BITS_16 = 17  # widest value that two 16-bit words hold wherever it begins
PAYLOAD_BIT = layout.AT_PAYLOAD * 8
END_BIT = layout.AT_CRC * 8


@dataclass
class Rows:
    """Rows of some blocks, block after block. row: (rows,) int64 numbers. columns: number of a column -> (rows,)
    uint16 or, above 16 bits, uint32. bad: (blocks,) bool, blocks whose stream breaks a rule of the format; none of
    their rows is here. counts: (blocks,) rows taken from each."""

    row: np.ndarray
    columns: dict[int, np.ndarray]
    bad: np.ndarray
    counts: np.ndarray


def dtype_of(bits: int) -> np.dtype:
    """What a column of this width is held in."""
    return np.dtype(np.uint16 if bits <= 16 else np.uint32)


def unpack(blocks: np.ndarray, bits: list[int], wanted: Collection[int] | None = None) -> Rows:
    """Columns of row blocks. blocks: (n, 512) uint8, kinds PACKED and PLAIN, each with a right CRC.

    bits: the columns' widths. wanted: numbers of the columns to unpack, all by default; blocks are judged by all
    columns when all are wanted, else only by their lengths and the columns looked at.
    """
    which = list(range(len(bits))) if wanted is None else sorted(wanted)
    count = len(blocks)
    rows = (_u16(blocks, layout.AT_ROWS) & layout.ROWS_MASK).astype(np.int64)
    first = _u16(blocks, layout.AT_FIRST_ROW).astype(np.int64) | _u16(blocks, layout.AT_FIRST_ROW + 2).astype(np.int64) << 16
    plain = blocks[:, layout.AT_KIND] == layout.PLAIN
    bad = rows == 0
    stream = _Streams(blocks, bits, rows, which)
    bad |= ~plain & stream.too_long
    size = np.array([2 if b <= 16 else 4 for b in bits]).sum()
    bad |= plain & (rows > layout.PAYLOAD // size)
    taken = np.where(bad, 0, rows)
    starts = np.concatenate([[0], np.cumsum(taken)])
    out = {c: np.empty(int(starts[-1]), dtype_of(bits[c])) for c in which}
    for tile in _tiles(taken, plain):
        if plain[tile[0]]:
            _plain_tile(blocks, tile, bits, taken, starts, out, bad)
        else:
            _packed_tile(stream, tile, bits, taken, starts, out, bad)
    row = np.repeat(first - starts[:-1], taken) + np.arange(starts[-1])
    if (bad & (taken > 0)).any():
        keep = np.repeat(~bad, taken)
        row = row[keep]
        out = {c: values[keep] for c, values in out.items()}
        taken = np.where(bad, 0, taken)
    return Rows(row, out, bad, taken)


def _u16(blocks: np.ndarray, at: int) -> np.ndarray:
    """(n,) uint32 of the 16-bit numbers at an even offset."""
    return blocks[:, at].astype(np.uint32) | blocks[:, at + 1].astype(np.uint32) << 8


class _Streams:
    """Descriptors and references of packed blocks. width, least, step: column -> (n,); begin: bit of the residuals."""

    def __init__(self, blocks: np.ndarray, bits: list[int], rows: np.ndarray, which: list[int]) -> None:
        count = len(blocks)
        halves = np.ascontiguousarray(blocks).view("<u2").astype(np.uint32)
        # words[k] holds the 32 bits from 16-bit word k on; words past the last are zeros
        self.words = halves.ravel()
        self.words[:-1] |= self.words[1:] << 16
        self.base = np.arange(count, dtype=np.int64) * (layout.SLOT // 2)
        words = self.words.reshape(count, layout.SLOT // 2)
        descriptors = []
        at = PAYLOAD_BIT
        for _ in bits:
            descriptors.append((words[:, min(at >> 4, 255)] >> (at & 15) & 0x3F).astype(np.uint8))
            at += layout.DESCRIPTOR_BITS
        self.difference = [d >= layout.DIFFERENCE for d in descriptors]
        widths = [(d & layout.WIDTH_MASK) for d in descriptors]
        wanted = set(which)
        self.width: dict[int, np.ndarray] = {}
        self.least: dict[int, np.ndarray] = {}
        self.step: dict[int, np.ndarray] = {}
        self.begin: dict[int, np.ndarray] = {}
        place = np.full(count, at, np.int64)
        for c, b in enumerate(bits):
            if c in wanted:
                self.least[c] = self._take(place, b)
            if self.difference[c].any():
                if c in wanted:
                    step = self._take(place + b, b + 1)
                    step -= (step >> b) << (b + 1)
                    self.step[c] = np.where(self.difference[c], step, 0)
                place += b + self.difference[c] * (b + 1)
            else:
                place += b
        for c in range(len(bits)):
            if c in wanted:
                self.width[c] = widths[c]
                self.begin[c] = place.copy()
            place += widths[c] * (rows - self.difference[c])
        self.too_long = place > END_BIT

    def _take(self, place: np.ndarray, bits: int) -> np.ndarray:
        """(n,) int64: `bits` (up to 25) bits at bit `place` of each block; rubbish where that lies outside."""
        at = self.base + np.minimum(place >> 4, 254)
        shift = place & 15
        low = self.words[at].astype(np.int64) | (self.words[at + 1].astype(np.int64) >> 16) << 32
        return low >> shift & ((1 << bits) - 1)


def _tiles(taken: np.ndarray, plain: np.ndarray) -> list[np.ndarray]:
    """Block numbers in tiles of one kind and similar row counts."""
    out = []
    for kind in (False, True):
        blocks = np.flatnonzero((plain == kind) & (taken > 0))
        if not len(blocks):
            continue
        blocks = blocks[np.argsort(taken[blocks], kind="stable")]
        most = taken[blocks]
        at = 0
        while at < len(blocks):
            # at most a quarter of padding, and about TILE_VALUES values
            end = int(np.searchsorted(most, most[at] * 5 // 4 + 4, side="right"))
            end = min(end, at + max(1, TILE_VALUES // int(most[min(end, len(blocks)) - 1])))
            tile = blocks[at:end]
            tile.sort()
            out.append(tile)
            at = end
    return out


def _targets(tile: np.ndarray, taken: np.ndarray, starts: np.ndarray) -> tuple[np.ndarray, np.ndarray | None, object]:
    """(rows of each block, cells of the padded matrix that count or None for all, where their values go)."""
    rows = taken[tile]
    most = int(rows.max())
    uniform = int(rows.min()) == most
    cells = None if uniform else np.flatnonzero((np.arange(most)[None, :] < rows[:, None]).ravel())
    if tile[-1] - tile[0] == len(tile) - 1:  # one stretch of blocks: one stretch of rows
        return rows, cells, slice(int(starts[tile[0]]), int(starts[tile[-1] + 1]))
    begin = np.cumsum(rows) - rows
    return rows, cells, np.repeat(starts[tile] - begin, rows) + np.arange(int(rows.sum()))


def _packed_tile(stream: _Streams, tile, bits, taken, starts, out, bad) -> None:
    rows, cells, where = _targets(tile, taken, starts)
    most = int(rows.max())
    number = np.arange(most, dtype=np.int32)
    blocks_bit = (tile * (layout.SLOT * 8)).astype(np.int64)
    origin = int(blocks_bit[0])
    for c, target in out.items():
        width = stream.width[c][tile]
        least = stream.least[c][tile]
        stepped = stream.difference[c][tile]
        widest = int(width.max())
        top = 1 << bits[c]
        if widest == 0 and not stepped.any():
            values = np.repeat(least.astype(target.dtype), rows)  # constant in every block; b bits always fit
            target[where] = values
            continue
        wide = widest > BITS_16 or len(tile) * layout.SLOT * 8 >= 1 << 31
        kind = np.int64 if wide else np.int32
        place = (stream.begin[c][tile] + blocks_bit - origin).astype(kind)
        w = width.astype(kind)
        # residual of row r stands at number r, or r - 1 where differences are stored
        place -= w * stepped
        bit = w[:, None] * number[None, :].astype(kind)
        bit += place[:, None]
        if wide:
            values = _cut_wide(stream.words, bit, width, origin)
        else:
            values = _cut(stream.words, bit, width, origin)
        if stepped.any():
            values = _undo_steps(values, stepped, least, stream.step[c][tile], wide)
        else:
            values += least.astype(values.dtype)[:, None]
        _check(values, least, width, stepped, rows, top, tile, bad)
        flat = values.ravel()
        target[where] = flat if cells is None else flat[cells]


def _cut(words: np.ndarray, bit: np.ndarray, width: np.ndarray, origin: int) -> np.ndarray:
    """Values of up to 17 bits at the bits `bit` (int32, counted from `origin`), as int32. `bit` is used up."""
    at = bit >> 4
    values = words[origin >> 4 :].take(at, mode="clip")
    bit &= 15
    values >>= bit.view(np.uint32)
    values &= ((np.uint32(1) << width.astype(np.uint32)) - np.uint32(1))[:, None]
    return values.view(np.int32)


def _cut_wide(words: np.ndarray, bit: np.ndarray, width: np.ndarray, origin: int) -> np.ndarray:
    """The same for up to 31 bits, as int64."""
    at = (bit >> 4) + (origin >> 4)
    low = words.take(at, mode="clip").astype(np.int64)
    at += 2
    low |= words.take(at, mode="clip").astype(np.int64) << 32
    bit &= 15
    low >>= bit
    low &= ((np.int64(1) << width.astype(np.int64)) - 1)[:, None]
    return low


def _undo_steps(values: np.ndarray, stepped: np.ndarray, least: np.ndarray, step: np.ndarray, wide: bool) -> np.ndarray:
    """Values out of residuals: sums of the differences in stepped blocks, offsets from the least in the others."""
    values += np.where(stepped, step, least).astype(values.dtype)[:, None]
    if stepped.all():
        values[:, 0] = least
        np.cumsum(values, axis=1, out=values, dtype=values.dtype)
        return values
    some = values[stepped]
    some[:, 0] = least[stepped]
    values[stepped] = np.cumsum(some, axis=1, dtype=values.dtype)
    return values


def _check(values, least, width, stepped, rows, top, tile, bad) -> None:
    """Mark blocks with a value outside 0 .. top - 1. Offsets can't leave it while least + 2^width - 1 does not."""
    may = stepped | (least + (np.int64(1) << width.astype(np.int64)) > top)
    if not may.any():
        return
    number = np.arange(values.shape[1])
    suspects = np.flatnonzero(may)
    part = values if len(suspects) == len(values) else values[suspects]
    outside = (part < 0) | (part >= top)
    if outside.any():
        outside &= number[None, :] < rows[suspects][:, None]
        bad[tile[suspects[outside.any(axis=1)]]] = True


def _plain_tile(blocks, tile, bits, taken, starts, out, bad) -> None:
    rows, cells, where = _targets(tile, taken, starts)
    contiguous = tile[-1] - tile[0] == len(tile) - 1
    part = blocks[tile[0] : tile[-1] + 1] if contiguous else blocks[tile]
    words = part.view("<u2") if part.flags.c_contiguous else np.ascontiguousarray(part).view("<u2")
    equal = cells is None
    most = int(rows.max())
    at = np.full(len(tile), layout.AT_PAYLOAD // 2, np.int64)
    number = np.arange(most)
    line = (np.arange(len(tile)) * (layout.SLOT // 2))[:, None]
    for c, b in enumerate(bits):
        halves = 1 if b <= 16 else 2
        if c in out:
            if equal:
                begin = int(at[0])
                values = words[:, begin : begin + halves * most]
                if halves == 2:
                    values = values[:, ::2] | values[:, 1::2].astype(np.uint32) << 16
            else:
                place = line + at[:, None] + number * halves
                flat = words.ravel()
                values = flat.take(place, mode="clip")
                if halves == 2:
                    values = values | flat.take(place + 1, mode="clip").astype(np.uint32) << 16
            if b not in (16, 32):
                outside = values >= 1 << b
                if outside.any():
                    outside &= number[None, :] < rows[:, None]
                    bad[tile[outside.any(axis=1)]] = True
            if equal and isinstance(where, slice):
                out[c][where].reshape(len(tile), most)[...] = values
            else:
                flat = np.ascontiguousarray(values).ravel()
                out[c][where] = flat if cells is None else flat[cells]
        at += halves * rows
