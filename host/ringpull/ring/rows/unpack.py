"""Unpacks the columns of packed and plain blocks, many blocks at once.

Blocks are processed in tiles of similar row counts; in a tile each column is a matrix of blocks by rows. A value of w
bits at bit p of a block is extracted from the two 16-bit words (32-bit words for wide columns) in which it lies.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from shared_math import layout

TILE_VALUES = 1 << 18  # values of one column, padded: fewer cost more calls, more exceed the processor's cache
MOST_PADDING = 1.3  # most cells of a tile's matrices per value
FAST_FROM = 1 << 17  # blocks (64 MB) from which compiled code is faster, including its loading
BITS_16 = 17  # widest value that always lies in two 16-bit words
# row, columns, bad, rows taken from each block; still with the rows of blocks that turn out bad
Unpacked = tuple[np.ndarray, dict[int, np.ndarray], np.ndarray, np.ndarray]
PAYLOAD_BIT = layout.AT_PAYLOAD * 8
END_BIT = layout.AT_CRC * 8


@dataclass
class Rows:
    """The rows of some blocks, in order.

    row: (rows,) int64 numbers. columns: number of a column -> (rows,) uint16, or uint32 above 16 bits. bad: (blocks,)
    bool, blocks that break a rule of the format; their rows are left out. counts: (blocks,) rows of each block.
    """

    row: np.ndarray
    columns: dict[int, np.ndarray]
    bad: np.ndarray
    counts: np.ndarray


def dtype_of(bits: int) -> np.dtype:
    """The dtype for a column of this width."""
    return np.dtype("<u2" if bits <= 16 else "<u4")


def unpack(blocks: np.ndarray, bits: list[int], wanted: Collection[int] | None = None, fast: bool = False) -> Rows:
    """The columns of row blocks. blocks: (n, 512) uint8 of kinds PACKED and PLAIN, each with a right CRC.

    bits: the columns' widths. wanted: numbers of the columns to unpack; by default all. Blocks are checked by all
    columns if all are wanted, else only by their lengths and the unpacked columns. fast: use compiled.py, which must be
    available.
    """
    which = list(range(len(bits))) if wanted is None else sorted(wanted)
    blocks = np.ascontiguousarray(blocks)
    row, out, bad, taken = (_compiled if fast else _by_tiles)(blocks, bits, which)
    if (bad & (taken > 0)).any():
        keep = np.repeat(~bad, taken)
        row = row[keep]
        out = {c: values[keep] for c, values in out.items()}
        taken = np.where(bad, 0, taken)
    return Rows(row, out, bad, taken)


def ends(blocks: np.ndarray, bits: list[int]) -> np.ndarray:
    """(n,) the bit behind the last value of each row block; -1 if that is outside the block."""
    rows = (_u16(blocks, layout.AT_ROWS) & layout.ROWS_MASK).astype(np.int64)
    packed = _Streams(np.ascontiguousarray(blocks), bits, rows, []).end
    size = 8 * sum(2 if b <= 16 else 4 for b in bits)
    end = np.where(blocks[:, layout.AT_KIND] == layout.PLAIN, PAYLOAD_BIT + rows * size, packed)
    return np.where(end > END_BIT, -1, end)


def fast_pays(blocks: int) -> bool:
    """Whether compiled code is available and worth loading for so many blocks."""
    if blocks < FAST_FROM:
        return False
    try:
        import ringpull.ring.rows.compiled  # noqa: F401
    except (ImportError, RuntimeError):  # no numba, or no folder for its compiled code
        return False
    return True


def _compiled(blocks: np.ndarray, bits: list[int], which: list[int]) -> Unpacked:
    from ringpull.ring.rows import compiled

    return compiled.unpack(blocks, bits, which)


def _by_tiles(blocks: np.ndarray, bits: list[int], which: list[int]) -> Unpacked:
    rows = (_u16(blocks, layout.AT_ROWS) & layout.ROWS_MASK).astype(np.int64)
    first = (
        _u16(blocks, layout.AT_FIRST_ROW).astype(np.int64)
        | _u16(blocks, layout.AT_FIRST_ROW + 2).astype(np.int64) << 16
    )
    plain = blocks[:, layout.AT_KIND] == layout.PLAIN
    bad = rows == 0
    size = np.array([2 if b <= 16 else 4 for b in bits]).sum()
    bad |= plain & (rows > layout.PAYLOAD // size)
    stream = None
    if not plain.all():
        stream = _Streams(blocks, bits, rows, which)
        bad |= ~plain & stream.too_long
    taken = np.where(bad, 0, rows)
    starts = np.concatenate([[0], np.cumsum(taken)])
    out = {c: np.empty(int(starts[-1]), dtype_of(bits[c])) for c in which}
    for numbers in _tiles(taken, plain):
        tile = _Tile(numbers, taken, starts)
        if stream is None or plain[numbers[0]]:
            _plain_tile(blocks, tile, bits, out, bad)
        else:
            _packed_tile(stream, tile, bits, out, bad)
    return np.repeat(first - starts[:-1], taken) + np.arange(starts[-1]), out, bad, taken


def _u16(blocks: np.ndarray, at: int) -> np.ndarray:
    """(n,) uint32 of the 16-bit numbers at an even offset."""
    return blocks[:, at].astype(np.uint32) | blocks[:, at + 1].astype(np.uint32) << 8


class _Streams:
    """Descriptors and references of packed blocks. width, least, step: column -> (n,). begin: first residual bit."""

    def __init__(self, blocks: np.ndarray, bits: list[int], rows: np.ndarray, which: list[int]) -> None:
        count = len(blocks)
        halves = blocks.view("<u2").astype(np.uint32)
        # words[k] holds the 32 bits from 16-bit word k on; words past the last are 0
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
        self.end = place
        self.too_long = place > END_BIT

    def _take(self, place: np.ndarray, bits: int) -> np.ndarray:
        """(n,) int64: `bits` (up to 25) bits at bit `place` of each block; undefined if that is outside the block."""
        at = self.base + np.minimum(place >> 4, 254)
        shift = place & 15
        low = self.words[at].astype(np.int64) | (self.words[at + 1].astype(np.int64) >> 16) << 32
        return low >> shift & ((1 << bits) - 1)


def _tiles(taken: np.ndarray, plain: np.ndarray) -> list[np.ndarray]:
    """Block numbers, rising, in tiles of one kind: packed neighbours if their row counts allow it, else packed blocks
    of similar counts; plain blocks of the same count."""
    out = []
    for kind in (False, True):
        blocks = np.flatnonzero((plain == kind) & (taken > 0))
        at = 0
        while at < len(blocks):
            end = at + max(1, TILE_VALUES // max(1, int(taken[blocks[at : at + 64]].max())))
            near = blocks[at:end]
            at += len(near)
            rows = taken[near]
            if kind:
                out += [near[rows == count] for count in np.unique(rows)]
                continue
            if int(rows.max()) * len(near) <= MOST_PADDING * int(rows.sum()):
                out.append(near)
                continue
            by_rows = near[np.argsort(rows, kind="stable")]
            rows = np.sort(rows)
            low = 0
            while low < len(near):
                high = int(np.searchsorted(rows, rows[low] * MOST_PADDING + 1, side="right"))
                out.append(np.sort(by_rows[low:high]))
                low = high
    return out


class _Tile:
    """Blocks whose columns are processed as matrices of blocks by `most` rows. numbers: the blocks' numbers. rows: rows
    of each block."""

    def __init__(self, numbers: np.ndarray, taken: np.ndarray, starts: np.ndarray) -> None:
        self.numbers = numbers
        self.rows = taken[numbers]
        self.most = int(self.rows.max())
        self.begin = starts[numbers]
        self.together = None  # neighbouring blocks with equal row counts form one contiguous range of values
        self.alike: list[tuple[int, np.ndarray]] = []
        if int(self.rows.min()) == self.most and int(numbers[-1] - numbers[0]) == len(numbers) - 1:
            self.together = slice(int(self.begin[0]), int(self.begin[0]) + len(numbers) * self.most)
        else:
            self.alike = [(rows, np.flatnonzero(self.rows == rows)) for rows in np.unique(self.rows).tolist()]

    def put(self, values: np.ndarray, target: np.ndarray) -> None:
        """Store a matrix, (blocks, most); its cells past a block's rows are undefined."""
        if self.together is not None:
            target[self.together].reshape(values.shape)[...] = values
            return
        if values.dtype != target.dtype:
            values = values.astype(target.dtype)
        for rows, which in self.alike:
            # a block's rows as one item, copied as a whole
            item = np.dtype(f"V{rows * target.itemsize}")
            places = np.ndarray((len(target) - rows + 1,), item, target, strides=(target.itemsize,))
            part = values[which] if rows == self.most else values[which, :rows]
            places[self.begin[which]] = np.ascontiguousarray(part).view(item)[:, 0]


def _packed_tile(stream: _Streams, tile: _Tile, bits: list[int], out: dict[int, np.ndarray], bad: np.ndarray) -> None:
    numbers = tile.numbers
    first = int(numbers[0])
    row = np.arange(tile.most, dtype=np.int32)
    block_bit = ((numbers - first) * (layout.SLOT * 8)).astype(np.int64)
    words = stream.words[first * (layout.SLOT // 2) : (int(numbers[-1]) + 1) * (layout.SLOT // 2)]
    for c, target in out.items():
        width = stream.width[c][numbers]
        least = stream.least[c][numbers]
        stepped = stream.difference[c][numbers]
        widest = int(width.max())
        if widest == 0 and not stepped.any():  # constant in every block; a reference always fits its width
            tile.put(np.broadcast_to(least.astype(target.dtype)[:, None], (len(numbers), tile.most)), target)
            continue
        wide = widest > BITS_16 or len(words) * 16 >= 1 << 31
        kind = np.int64 if wide else np.int32
        if widest == 0:
            values = np.zeros((len(numbers), tile.most), kind)
        else:
            w = width.astype(kind)
            # the residual of row r is number r, or r - 1 if differences are stored
            place = (stream.begin[c][numbers] + block_bit).astype(kind) - w * stepped
            bit = w[:, None] * row
            bit += place[:, None]
            values = (_cut_wide if wide else _cut)(words, bit, width)
        if stepped.any():
            values = _undo_steps(values, stepped, least, stream.step[c][numbers])
        else:
            values += least.astype(values.dtype)[:, None]
        top = 1 << bits[c]
        # offsets can't exceed the column's width unless least + 2^width - 1 does
        suspects = np.flatnonzero(stepped | (least + (np.int64(1) << width.astype(np.int64)) > top))
        _check(values, suspects, tile, top, bad)
        tile.put(values, target)


def _cut(words: np.ndarray, bit: np.ndarray, width: np.ndarray) -> np.ndarray:
    """Values of up to 17 bits at bits `bit` (int32), as int32. `bit` is overwritten."""
    values = words.take(bit >> 4, mode="clip")
    bit &= 15
    values >>= bit.view(np.uint32)
    values &= ((np.uint32(1) << width.astype(np.uint32)) - np.uint32(1))[:, None]
    return values.view(np.int32)


def _cut_wide(words: np.ndarray, bit: np.ndarray, width: np.ndarray) -> np.ndarray:
    """Values of up to 31 bits at bits `bit`, as int64."""
    at = bit >> 4
    low = words.take(at, mode="clip").astype(np.int64)
    at += 2
    low |= words.take(at, mode="clip").astype(np.int64) << 32
    bit &= 15
    low >>= bit
    low &= ((np.int64(1) << width.astype(np.int64)) - 1)[:, None]
    return low


def _undo_steps(values: np.ndarray, stepped: np.ndarray, least: np.ndarray, step: np.ndarray) -> np.ndarray:
    """The values from residuals: sums of the differences in stepped blocks, offsets from the least in the others."""
    values += np.where(stepped, step, least).astype(values.dtype)[:, None]
    if stepped.all():
        values[:, 0] = least
        return np.cumsum(values, axis=1, out=values, dtype=values.dtype)
    some = values[stepped]
    some[:, 0] = least[stepped]
    values[stepped] = np.cumsum(some, axis=1, dtype=values.dtype)
    return values


def _check(values: np.ndarray, suspects: np.ndarray, tile: _Tile, top: int, bad: np.ndarray) -> None:
    """Mark the suspect blocks that hold a value outside 0 .. top - 1.

    Sums wrap at 2^32 in narrow columns, but no single difference is large enough to skip all values outside.
    """
    if not len(suspects):
        return
    part = values if len(suspects) == len(values) else values[suspects]
    if part.view(np.uint32 if part.dtype == np.int32 else np.uint64).max() < top:
        return
    outside = (part < 0) | (part >= top)
    outside &= np.arange(tile.most)[None, :] < tile.rows[suspects][:, None]
    bad[tile.numbers[suspects[outside.any(axis=1)]]] = True


def _plain_tile(blocks: np.ndarray, tile: _Tile, bits: list[int], out: dict[int, np.ndarray], bad: np.ndarray) -> None:
    """Unpack plain blocks with the same number of rows. A column's values in a block are copied as one item."""
    numbers, rows = tile.numbers, tile.most
    at = layout.AT_PAYLOAD
    for c, b in enumerate(bits):
        size = 2 if b <= 16 else 4
        if c in out:
            target = out[c]
            item = np.dtype(f"V{rows * size}")
            source = np.ndarray((len(blocks),), item, blocks, at, (layout.SLOT,))
            if tile.together is not None:
                values = target[tile.together]
                values.view(item)[...] = source[numbers[0] : numbers[-1] + 1]
            else:
                part = source[numbers]
                values = part.view(target.dtype)
                np.ndarray((len(target) - rows + 1,), item, target, strides=(size,))[tile.begin] = part
            if b not in (16, 32) and int(values.max()) >> b:
                bad[numbers[((values >> b) != 0).reshape(-1, rows).any(axis=1)]] = True
        at += size * rows
