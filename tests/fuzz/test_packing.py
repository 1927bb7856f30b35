"""Blocks of any rows: written and read back equal, read equal by the second reader, and no single wrong bit passes."""

import ring_bytes
import second_reader
from hypothesis import assume, example, given
from hypothesis import strategies as st
from property_examples import examples

from shared_math import layout, packing, unpacking

RING = b"\x11\x22\x33\x44"


@st.composite
def tables(draw):
    """(widths, rows): columns that are noise, constants, ramps, counters that wrap, saws and jumps between ends."""
    widths = draw(st.lists(st.integers(1, 24), min_size=1, max_size=24))
    count = draw(st.integers(1, 220))
    columns = []
    for bits in widths:
        top = (1 << bits) - 1
        shape = draw(st.sampled_from(["noise", "constant", "ramp", "ends", "narrow", "saw"]))
        start = draw(st.integers(0, top))
        seed = draw(st.integers(1, 2**31))
        if shape == "noise":
            column = [(seed * (n + 1) * 2654435761 >> 7) & top for n in range(count)]
        elif shape == "constant":
            column = [start] * count
        elif shape == "ramp":
            step = draw(st.integers(-top, top))
            column = [(start + step * n) & top for n in range(count)]
        elif shape == "ends":
            column = [top if (seed >> n % 31) & 1 else 0 for n in range(count)]
        elif shape == "narrow":
            column = [min(top, start + (seed * n >> 3) % 5) for n in range(count)]
        else:
            column = [n * seed % 97 & top for n in range(count)]
        columns.append(column)
    return widths, [list(row) for row in zip(*columns, strict=True)]


def start(kind, sequence=7):
    block = bytearray(layout.SLOT)
    layout.start_block(block, kind, RING)
    layout.put32(block, layout.AT_SEQUENCE, sequence)
    layout.put16(block, layout.AT_SESSION, 1)
    return block


def packed(widths, rows, most):
    """As many of the rows as one block takes: (sealed block, rows taken)."""
    packer = packing.Packer(widths, most)
    taken = 0
    for row in rows:
        if not packer.add(row):
            break
        taken += 1
    block = start(layout.PACKED)
    packer.write(block, 1000, 3)
    layout.seal(block, memoryview(block)[: layout.AT_CRC])
    return block, taken


@examples(300)
@given(tables(), st.integers(1, 250))
@example(([24], [[0], [2**24 - 1], [0], [2**24 - 1]] * 10), 250)
@example(([1] * 24, [[1] * 24]), 1)
def test_rows_come_back_equal(table, most):
    widths, rows = table
    block, taken = packed(widths, rows, most)
    assert 1 <= taken <= min(most, len(rows))
    expected = [list(column) for column in zip(*rows[:taken], strict=True)]
    assert layout.verdict(bytes(block)) is None
    assert unpacking.unpack(bytes(block), widths) == expected
    assert second_reader.unpack(bytes(block[22:508]), widths, taken) == expected
    assert layout.get32(block, layout.AT_FIRST_ROW) == 1000
    assert layout.get16(block, layout.AT_LOST) == 3


@examples(100)
@given(tables())
def test_a_full_packer_is_unchanged_by_the_row_it_refused(table):
    widths, rows = table
    packer = packing.Packer(widths, 250)
    taken = [row for row in rows if packer.add(row)]
    assume(taken)
    before, after = start(layout.PACKED), start(layout.PACKED)
    packer.write(before, 0, 0)
    refused = packer.add([(1 << bits) - 1 for bits in widths])
    assume(not refused)
    packer.write(after, 0, 0)
    assert before == after
    packer.clear()
    assert packer.rows == 0 and packer.add(rows[0])


@examples(100)
@given(tables())
def test_the_writer_takes_the_smaller_encoding(table):
    """No column could have been stored in fewer bits by the other method (rule of the format)."""
    widths, rows = table
    block, taken = packed(widths, rows, 250)
    stream = int.from_bytes(block[22:508], "little")
    for at, bits in enumerate(widths):
        word = stream >> 6 * at & 63
        width, difference = word & 31, word >> 5
        column = [row[at] for row in rows[:taken]]
        steps = [b - a for a, b in zip(column, column[1:], strict=False)] or [0]
        plain = bits + taken * (max(column) - min(column)).bit_length()
        stepped = 2 * bits + 1 + (taken - 1) * (max(steps) - min(steps)).bit_length()
        mine = (2 * bits + 1 + (taken - 1) * width) if difference else bits + taken * width
        assert mine == min(plain, stepped)
        assert difference == (stepped < plain)


@examples(100)
@given(tables())
def test_plain_blocks_come_back_equal(table):
    widths, rows = table
    rows = rows[: unpacking.plain_rows(widths)]
    block = start(layout.PLAIN)
    ring_bytes.write_plain(block, widths, rows, 5, 0)
    layout.seal(block, memoryview(block)[: layout.AT_CRC])
    expected = [list(column) for column in zip(*rows, strict=True)]
    assert unpacking.unpack(bytes(block), widths) == expected
    assert second_reader.unplain(bytes(block[22:508]), widths, len(rows)) == expected


@examples(40)
@given(tables(), st.integers(0, 7))
def test_every_single_wrong_bit_is_noticed(table, bit):
    """One bit of each byte of the block, header and CRC included."""
    block, _ = packed(*table, 250)
    for at in range(layout.SLOT):
        block[at] ^= 1 << bit
        assert layout.verdict(bytes(block)) in ("damaged", "not a block")
        block[at] ^= 1 << bit
    assert layout.verdict(bytes(block)) is None


@examples(200)
@given(
    st.binary(min_size=486, max_size=486), st.lists(st.integers(1, 24), min_size=1, max_size=16), st.integers(0, 65535)
)
def test_rubbish_with_a_right_checksum_is_refused_or_fits_its_widths(payload, widths, count):
    """A block that no writer made: both readers agree, and nothing out of range comes out."""
    for kind in (layout.PACKED, layout.PLAIN):
        block = start(kind)
        block[22:508] = payload
        layout.put16(block, layout.AT_ROWS, count % 400 | count & 0x8000)
        layout.seal(block, memoryview(block)[: layout.AT_CRC])
        reader = second_reader.unpack if kind == layout.PACKED else second_reader.unplain
        mine = reader(payload, widths, count % 400) if count % 400 else None
        try:
            theirs = unpacking.unpack(bytes(block), widths)
        except ValueError:
            theirs = None
        assert theirs == mine
        for bits, column in zip(widths, theirs or [], strict=False):
            assert all(0 <= value < 1 << bits for value in column)
