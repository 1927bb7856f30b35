"""Columns out of many blocks at once are what the format's scalar unpacker gives for each block."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from property_examples import examples
from ring_bytes import Ring, write_plain

import ringpull
from ringpull.ring.rows import unpack
from shared_math import layout, packing, unpacking

try:
    import ringpull.ring.rows.compiled  # noqa: F401

    WAYS = [False, True]
except ImportError:
    WAYS = [False]
fast = pytest.mark.parametrize("fast", WAYS)


def column(kind: str, bits: int, count: int, random: np.random.Generator) -> np.ndarray:
    top = 1 << bits
    if kind == "constant":
        return np.full(count, random.integers(top))
    if kind == "noise":
        return random.integers(0, top, count)
    if kind == "narrow":
        return (random.integers(top) + random.integers(0, 5, count)) % top
    if kind == "counter":
        return (random.integers(top) + np.cumsum(random.integers(0, 4, count))) % top
    if kind == "fall":
        return np.maximum(top - 1 - np.arange(count) * (top // 40 + 1), 0)
    return np.where(np.arange(count) % 9 < 4, top - 1, 0)


@st.composite
def tables(draw):
    bits = draw(st.lists(st.integers(1, 24), min_size=1, max_size=20))
    kinds = [draw(st.sampled_from(["constant", "noise", "narrow", "counter", "fall", "ends"])) for _ in bits]
    random = np.random.default_rng(draw(st.integers(0, 2**32)))
    count = draw(st.integers(1, 600))
    rows = np.stack([column(kind, b, count, random) for kind, b in zip(kinds, bits, strict=True)], axis=1)
    share = draw(st.sampled_from([0.0, 0.0, 0.5, 1.0]))
    return bits, rows, share, draw(st.integers(1, 220)), random


def packed(bits, rows, share, most, random):
    """(blocks, rows in each)."""
    table, taken, out, counts = rows.tolist(), 0, [], []
    while taken < len(table):
        plain = random.random() < share and unpacking.plain_rows(bits) > 0
        block = bytearray(layout.SLOT)
        layout.start_block(block, layout.PLAIN if plain else layout.PACKED, b"ring")
        if plain:
            count = int(min(random.integers(1, unpacking.plain_rows(bits) + 1), len(table) - taken))
            write_plain(block, bits, table[taken : taken + count], taken, 0)
        else:
            packer = packing.Packer(bits, int(random.integers(1, most + 1)))
            count = 0
            while taken + count < len(table) and packer.add(table[taken + count]):
                count += 1
            packer.write(block, taken, 0)
        out.append(np.frombuffer(bytes(block), np.uint8))
        counts.append(count)
        taken += count
    return np.stack(out), counts


def test_the_compiled_way_is_tested_too():
    if WAYS == [False]:
        pytest.skip("numba is not installed: pip install '.[fast]'")


@fast
@examples(150)
@given(table=tables())
def test_all_rows_come_back(table, fast):
    bits, rows, share, most, random = table
    blocks, counts = packed(bits, rows, share, most, random)
    got = unpack.unpack(blocks, bits, fast=fast)
    assert not got.bad.any()
    assert got.counts.tolist() == counts
    assert got.row.tolist() == list(range(len(rows)))
    for at in range(len(bits)):
        assert got.columns[at].dtype == unpack.dtype_of(bits[at])
        np.testing.assert_array_equal(got.columns[at], rows[:, at])


@fast
@examples(40)
@given(table=tables(), data=st.data())
def test_some_columns_are_those_of_all(table, data, fast):
    bits, rows, share, most, random = table
    blocks, _ = packed(bits, rows, share, most, random)
    wanted = data.draw(st.sets(st.integers(0, len(bits) - 1)))
    got = unpack.unpack(blocks, bits, wanted, fast)
    assert set(got.columns) == wanted
    for at in wanted:
        np.testing.assert_array_equal(got.columns[at], rows[:, at])


@fast
@examples(150)
@given(table=tables(), seed=st.integers(0, 2**32))
def test_blocks_that_do_not_add_up_give_no_row_and_spoil_no_other(table, seed, fast):
    """Payload bytes at random under a right checksum: a block is taken only if the scalar unpacker takes it."""
    bits, rows, share, most, random = table
    blocks, _ = packed(bits, rows, share, most, random)
    blocks = blocks.copy()
    random = np.random.default_rng(seed)
    for at in np.flatnonzero(random.random(len(blocks)) < 0.5):
        first = int(random.integers(layout.AT_ROWS, layout.AT_CRC))
        last = min(layout.AT_CRC, first + int(random.choice([1, 2, 8, 400])))
        blocks[at, first:last] = random.integers(0, 256, last - first)
    got = unpack.unpack(blocks, bits, fast=fast)
    starts = np.cumsum(got.counts) - got.counts
    for at, block in enumerate(blocks):
        try:
            expected = unpacking.unpack(bytes(block), bits)
        except ValueError:
            assert got.bad[at] and got.counts[at] == 0
            continue
        assert not got.bad[at]
        part = slice(starts[at], starts[at] + got.counts[at])
        assert [got.columns[c][part].tolist() for c in range(len(bits))] == expected
    assert len(got.row) == got.counts.sum()


@fast
def test_no_blocks(fast):
    got = unpack.unpack(np.zeros((0, 512), np.uint8), [12, 24], fast=fast)
    assert len(got.row) == 0 and [len(got.columns[c]) for c in (0, 1)] == [0, 0]


@fast
def test_a_block_that_claims_no_row_is_bad(fast):
    random = np.random.default_rng(1)
    blocks, _ = packed([12, 24], random.integers(0, 4096, (30, 2)), 0.0, 10, random)
    blocks = blocks.copy()
    blocks[1, layout.AT_ROWS] = 0
    got = unpack.unpack(blocks, [12, 24], fast=fast)
    assert got.bad.tolist() == [at == 1 for at in range(len(blocks))] and got.counts[1] == 0 and len(got.row) < 30


@fast
def test_a_drive_reads_the_same_either_way(tmp_path, monkeypatch, fast):
    ring = Ring()
    ring.setup()
    ring.numbered(0, 900)
    ring.rows(1000, [ring.row(n, mark=1) for n in range(1000, 1040)], lost=100, plain=True)
    ring.numbered(1040, 500)
    path = tmp_path / "drive.rpl"
    path.write_bytes(ring.data())
    (session,) = ringpull.read(path).sessions
    expected = session.raw()
    monkeypatch.setattr(unpack, "FAST_FROM", 1 if fast else 1 << 60)
    assert unpack.fast_pays(5) == fast
    (session,) = ringpull.read(path).sessions
    assert session.raw().equals(expected) and len(expected) == 1440
