"""When a block takes no further row, what it says of itself, and how many rows a plain one has room for."""

from shared_math import layout, open_block, packing, unpacking


def taken(bits, rows, lost=0):
    """(rows that a block took, the block)."""
    packer = packing.Packer(bits, len(rows))
    count = 0
    while count < len(rows) and packer.add(rows[count]):
        count += 1
    block = bytearray(layout.SLOT)
    layout.start_block(block, layout.PACKED, b"ring")
    packer.write(block, 0, lost)
    return count, block


def test_a_width_that_no_column_has_is_refused():
    for width in (0, -1, 25):
        try:
            open_block.OpenBlock([8, width], 10)
            raise AssertionError("a column of %d bits was taken" % width)
        except ValueError as error:
            assert str(error) == "column width %d is outside 1 to 24 bits" % width
    assert open_block.OpenBlock([1, 24], 10).rows == 0


def test_the_state_has_every_cell_that_a_compiled_kernel_writes():
    """Three numbers of the block, seven of each column, two of its own: beyond the array it would write into whatever
    stands there."""
    for columns in (1, 2, 24):
        assert len(packing.Packer([12] * columns, 10).state) >= 3 + 7 * columns + 2


def test_lost_rows_beyond_what_the_field_holds_are_told_as_its_most():
    for lost, told in ((0, 0), (65534, 65534), (65535, 65535), (65536, 65535), (1000000, 65535)):
        _, block = taken([12], [(5,)], lost)
        assert layout.get16(block, layout.AT_LOST) == told


def test_a_row_far_below_or_above_the_others_is_left_for_the_next_block():
    """400 rows alike take no bits; one that is 1000 away makes each of them ten bits wide, 4010 where 3888 are."""
    for usual, other in ((1000, 0), (0, 1000)):
        count, block = taken([12], [(usual,)] * 400 + [(other,)])
        assert count == 400
        assert unpacking.unpack(block, [12]) == [[usual] * 400]


def test_a_step_that_widens_a_later_columns_differences_is_left_for_the_next_block():
    """Steps of 1000 and 1001, one bit wide; then one of -23, which is 1024 below the highest: eleven bits, where 360 of
    ten would still fit (3673 of 3888 bits)."""
    rows, value = [(7, 0)], 0
    for n in range(360):
        value += 1000 + n % 2
        rows.append((7, value))
    rows.append((7, value - 23))
    count, block = taken([10, 24], rows)
    assert count == 361
    assert unpacking.unpack(block, [10, 24]) == [list(column) for column in zip(*rows[:361])]


def test_two_rows_of_very_many_columns_fit_to_the_last_bits():
    """129 columns of 24 bits: descriptor and reference of each are 3870 bits; a second row alike adds none."""
    row = tuple(range(129))
    count, block = taken([24] * 129, [row, row])
    assert count == 2
    assert unpacking.unpack(block, [24] * 129) == [[value, value] for value in row]


def test_rows_of_a_plain_block():
    """486 bytes of payload: two a value up to 16 bits, four beyond."""
    assert unpacking.plain_rows([12]) == 243 and unpacking.plain_rows([16]) == 243
    assert unpacking.plain_rows([17]) == 121 and unpacking.plain_rows([12, 24]) == 81
