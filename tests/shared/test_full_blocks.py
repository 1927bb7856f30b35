"""Rows into blocks: what a block holds to the last bit, and which method each column takes."""

from shared_math import layout, packing, unpacking

RING = b"ring"


def packed(bits, rows, lost=0):
    """(block, rows taken)."""
    packer = packing.Packer(bits, len(rows))
    taken = 0
    while taken < len(rows) and packer.add(rows[taken]):
        taken += 1
    block = bytearray(layout.SLOT)
    layout.start_block(block, layout.PACKED, RING)
    packer.write(block, 7, lost)
    return block, taken


def columns(rows):
    return [list(column) for column in zip(*rows)]


def test_a_block_is_filled_to_its_last_bit():
    """Descriptor 6 bits, reference 12, 387 rows of 10 bits: 6 + 12 + 3870 = 3888, all that a block has."""
    rows = [(1023 * (n % 2),) for n in range(400)]
    block, taken = packed([12], rows)
    assert taken == 387
    assert unpacking.unpack(block, [12]) == columns(rows[:387])


def test_a_block_of_differences_is_filled_to_its_last_bit():
    """A saw of 10 bits that climbs by 255 and falls by 256 at most: 511 apart, so 9 bits a difference. Descriptor 6,
    first value 10, least difference 11, 429 differences: 6 + 10 + 11 + 3861 = 3888, so 430 rows. By themselves the
    values, of 10 bits each, would not fit."""
    saw = (0, 255, 510, 765, 1020, 764, 508, 252)
    rows = [(saw[n % 8],) for n in range(440)]
    block, taken = packed([10], rows)
    assert taken == 430
    assert unpacking.unpack(block, [10]) == columns(rows[:430])


def test_a_row_of_one_bit_too_many_is_left_for_the_next_block():
    """Descriptor 6, reference 12, 553 rows of 7 bits would be 6 + 12 + 3871 = 3889: a bit more than there is."""
    rows = [(127 * (n % 2),) for n in range(560)]
    assert packed([12], rows)[1] == 552
