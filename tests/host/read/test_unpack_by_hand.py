"""Blocks of few rows and of many, packed and plain, wide columns and narrow ones: each value where it belongs."""

import numpy as np
import pytest
from ring_bytes import write_plain

from ringpull.ring.rows import glance, unpack
from shared_math import layout, packing

BITS = [24, 3, 20, 12, 16, 1, 18]


def noise(rows, seed=3):
    random = np.random.default_rng(seed)
    return [[int(random.integers(1 << bits)) for bits in BITS] for _ in range(rows)]


def blocks_of(*parts, bits=BITS):
    """(blocks, rows) of parts (rows, plain)."""
    out, first = [], 0
    for rows, plain in parts:
        block = bytearray(layout.SLOT)
        layout.start_block(block, layout.PLAIN if plain else layout.PACKED, b"ring")
        if plain:
            write_plain(block, bits, rows, first, 0)
        else:
            packer = packing.Packer(bits, len(rows))
            assert all(packer.add(row) for row in rows)
            packer.write(block, first, 0)
        first += len(rows)
        out.append(np.frombuffer(bytes(block), np.uint8))
    return np.stack(out), [row for rows, _ in parts for row in rows]


def check(blocks, rows, bits=BITS):
    got = unpack.unpack(blocks, bits)
    assert not got.bad.any() and got.row.tolist() == list(range(len(rows)))
    for at in range(len(bits)):
        assert got.columns[at].tolist() == [row[at] for row in rows], at


def parts(*counts, plain=()):
    table = noise(sum(counts))
    starts = np.cumsum([0, *counts])
    return [(table[a : a + n], at in plain) for at, (a, n) in enumerate(zip(starts.tolist(), counts))]


@pytest.mark.parametrize("counts", [(1,), (2, 2, 2), (35, 1, 3, 33, 2, 35), (30, 31, 32), (1, 35)])
def test_packed_blocks_of_unlike_numbers_of_rows(counts):
    check(*blocks_of(*parts(*counts)))


def test_plain_blocks_among_packed_ones():
    check(*blocks_of(*parts(5, 3, 5, 20, 7, 3, plain=(0, 1, 2, 4, 5))))
    check(*blocks_of(*parts(2, 9, 2, plain=(0, 1, 2))))


def test_steps_and_offsets_side_by_side():
    """A ramp is stored by its differences, the noise beside it as offsets, in each block anew."""
    ramp = [[(1 << 20) + 70001 * n, n % 8, 5 * n, 4095 - 9 * n, 100 * n, 0, n] for n in range(35)]
    flat = noise(35, 4)
    mixed = [[r[0], f[1], f[2], r[3], f[4], f[5], r[6]] for r, f in zip(ramp, flat)]
    blocks, rows = blocks_of((ramp, False), (flat, False), (mixed, False), (ramp[:7], False))
    check(blocks, rows)
    seen = glance.glance(blocks, BITS, range(len(BITS)))
    for at in (0, 3, 6):  # behind columns whose differences are stored
        for block in (0, 2, 3):
            assert seen.first[at][block] == ramp[0][at] and not seen.constant[at][block]
    assert seen.constant[5].tolist() == [True, False, False, True] and seen.first[5][0] == 0


def test_a_plain_value_that_its_column_does_not_hold_spoils_its_block_alone():
    table = parts(4, 4, 4, plain=(0, 1, 2))
    blocks, rows = blocks_of(*table)
    blocks = blocks.copy()
    third = layout.AT_PAYLOAD + 4 * (4 + 2 + 4)  # the column of 12 bits, behind 4, 2 and 4 bytes a row
    blocks[1, third + 1] |= 0x10
    got = unpack.unpack(blocks, BITS)
    assert got.bad.tolist() == [False, True, False] and got.counts.tolist() == [4, 0, 4]
    assert got.columns[3].tolist() == [row[3] for row in rows[:4] + rows[8:]]


def test_a_block_that_claims_more_than_it_holds_is_bad():
    blocks, _ = blocks_of(*parts(35, 3, 20, plain=(2,)))
    for at, count in ((0, 99), (0, 0), (2, 25), (2, 0)):
        hurt = blocks.copy()
        hurt[at, layout.AT_ROWS] = count
        got = unpack.unpack(hurt, BITS)
        assert got.bad.tolist() == [n == at for n in range(3)] and got.counts[at] == 0, (at, count)


def test_where_a_block_s_values_end():
    """Three plain rows of 20 bytes end 60 bytes behind the beginning of the payload; of too many none."""
    blocks, _ = blocks_of(*parts(3, 3, plain=(0,)))
    ends = unpack.ends(blocks, BITS)
    size = 4 + 2 + 4 + 2 + 2 + 2 + 4
    assert ends[0] == 8 * (layout.AT_PAYLOAD + 3 * size) and layout.AT_PAYLOAD * 8 < ends[1] < ends[0]
    blocks = blocks.copy()
    blocks[:, layout.AT_ROWS] = 200
    assert unpack.ends(blocks, BITS).tolist() == [-1, -1]
