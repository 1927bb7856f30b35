"""Numbers of the ring file as FORMAT.md has them, and blocks told by their bytes."""

from binascii import crc32

from shared_math import layout

RING = b"\x11\x22\x33\x44"


def sealed(kind=layout.PACKED, **at):
    """A block whose bytes `at` ('at_2=9') were changed before it was sealed."""
    block = bytearray(layout.SLOT)
    layout.start_block(block, kind, RING)
    for name in at:
        block[int(name[3:])] = at[name]
    layout.seal(block, memoryview(block)[: layout.AT_CRC])
    return block


def test_sizes_belong_together():
    assert (layout.SLOT, layout.AT_PAYLOAD, layout.AT_CRC) == (512, 22, 508)
    assert layout.PAYLOAD == 508 - 22 and layout.PAYLOAD_BITS == 8 * 486
    assert layout.MAX_BITS == 24 and layout.DESCRIPTOR_BITS == 6
    assert layout.WIDTH_MASK == 0x1F and layout.DIFFERENCE == 0x20  # together six bits, and the width fits
    assert layout.ROWS_MASK == 0x7FFF and layout.KEPT == 0x8000
    assert layout.SETUP_EVERY == 1024 and layout.OPTIONAL == 128
    assert (layout.AT_LENGTH, layout.AT_PART, layout.AT_PARTS) == (14, 16, 17)


def test_widths_of_columns():
    """What the page says of each: where it wraps, or what stands for 'that or more'."""
    assert (layout.COUNT_BITS, layout.AGE_BITS, layout.REJECTED_BITS, layout.ON_BITS) == (24, 20, 16, 17)
    assert (layout.MARK_BITS, layout.FLAG_BITS, layout.LAMP_BITS, layout.DIPS_BITS) == (16, 16, 8, 8)
    assert (1 << layout.LATE_BITS) - 1 == 65535 and (1 << layout.STALL_BITS) - 1 == 4095
    assert (1 << layout.HEAP_BITS) - 1 == 1023 and layout.HELD_BITS == 12
    assert layout.STALL_LEAST_MS == 16 and (layout.DIP_V, layout.SUPPLY_BACK_V) == (10.0, 10.5)
    assert (layout.FLAG_SPOILED, layout.FLAG_VOID) == (0, 1)
    lamp = (layout.LAMP_OFF, layout.LAMP_RECORDING, layout.LAMP_MARKING, layout.LAMP_LEAN, layout.LAMP_CARD_OUT)
    assert lamp == (0, 1, 2, 3, 4) and layout.LAMP_FAULT == 64


def test_numbers_low_byte_first():
    block = bytearray(8)
    layout.put16(block, 1, 0xABCD)
    assert block == b"\x00\xcd\xab\x00\x00\x00\x00\x00" and layout.get16(block, 1) == 0xABCD
    layout.put16(block, 1, 0x71234)
    assert layout.get16(block, 1) == 0x1234  # the low 16 bits
    layout.put32(block, 3, 0x89ABCDEF)
    assert block[3:7] == b"\xef\xcd\xab\x89" and layout.get32(block, 3) == 0x89ABCDEF
    layout.put32(block, 3, 0x789ABCDEF)
    assert layout.get32(block, 3) == 0x89ABCDEF and block[7] == 0


def test_a_started_block_is_clear_but_for_its_head():
    block = bytearray(b"\xff" * layout.SLOT)
    layout.start_block(block, layout.HEALTH, RING)
    assert block[:8] == b"Rp\x01\x80" + RING and block[8:] == bytes(504)
    layout.seal(block, memoryview(block)[: layout.AT_CRC])
    assert layout.get32(block, 508) == crc32(bytes(block[:508])) and block[8:508] == bytes(500)


def test_a_births_fields():
    block = layout.birth(RING, layout.PULLS_FILE, 0x12345, 0xFFFFFFFF)
    assert layout.verdict(block) is None and block[layout.AT_KIND] == layout.BIRTH
    assert block[8:12] == b"\xff\xff\xff\xff" and block[12:14] == b"\0\0"
    assert layout.get16(block, 14) == 8 and block[16:22] == bytes(6)  # payload bytes; part 0 of 0
    assert block[22:30] == b"\x45\x23\x01\x00\x01\x00\x00\x00" and block[30:508] == bytes(478)
    assert layout.birth(RING, layout.DRIVE_FILE, 5, 0)[26] == 0


def test_verdicts():
    assert layout.verdict(bytes(512)) == "empty"
    assert layout.verdict(sealed()) is None
    for at in (0, 300, 507, 508, 511):
        hurt = sealed()
        hurt[at] ^= 1
        assert layout.verdict(hurt) == "damaged", at
    assert layout.verdict(sealed(at_0=0x53)) == "not a block" and layout.verdict(sealed(at_1=0x71)) == "not a block"
    assert layout.verdict(sealed(at_2=2)) == "newer version" and layout.verdict(sealed(at_2=0)) == "not a block"
    for kind, told in (
        (0, "unknown kind"),
        (1, None),
        (4, None),
        (5, "unknown kind"),
        (127, "unknown kind"),
        (128, None),
    ):
        assert layout.verdict(sealed(kind)) == told, kind
    assert layout.verdict(sealed(255)) is None  # to be skipped by who does not know it


def test_marks():
    """Odd while a pull is open, even once it has ended, as FORMAT.md says of the column."""
    assert [layout.open_mark(pull) for pull in (1, 2, 100)] == [1, 3, 199]
    assert [layout.ended_mark(pull) for pull in (1, 2, 100)] == [2, 4, 200]
    assert [layout.mark_open(mark) for mark in (0, 1, 2, 3, 4)] == [0, 1, 0, 1, 0]
    assert [layout.mark_pull(mark) for mark in (0, 1, 2, 3, 4)] == [0, 1, 1, 2, 2]


def test_kinds_and_repeats():
    assert (layout.SETUP, layout.PACKED, layout.PLAIN, layout.BIRTH) == (1, 2, 3, 4)
    assert (layout.HEALTH, layout.CODES, layout.SETUP_AGAIN) == (128, 129, 8)
