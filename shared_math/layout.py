"""The only home of the ring file's magic numbers, offsets, versions, block kinds and flags.

FORMAT.md beside this file is the authority; a test compares its tables and its hex dump with this module.
"""

from binascii import crc32

from shared_math.compat import const

SLOT = const(512)  # bytes in a block, one card sector
MAGIC_0 = const(0x52)  # 'R'
MAGIC_1 = const(0x70)  # 'p'
VERSION = const(1)  # of the disk format, not of the code

# Offsets in the header of every block
AT_MAGIC = const(0)
AT_VERSION = const(2)
AT_KIND = const(3)
AT_RING = const(4)  # 4 bytes, random, the same in both files
AT_SEQUENCE = const(8)  # 32 bits
AT_SESSION = const(12)  # 16 bits, 1 to 65535, wraps to 1

# Row blocks continue with
AT_FIRST_ROW = const(14)  # 32 bits, number of the block's first row in its session
AT_ROWS = const(18)  # 15 bits; bit 15: the block belongs into pulls.rpl
AT_LOST = const(20)  # 16 bits, rows lost just before this block; 65535 means that many or more

ROWS_MASK = const(0x7FFF)
KEPT = const(0x8000)

# All other blocks continue with
AT_LENGTH = const(14)  # 16 bits, payload bytes in this block
AT_PART = const(16)  # 8 bits, part of a group, from 0
AT_PARTS = const(17)  # 8 bits, parts in the group
AT_WHOLE = const(18)  # in a setup block: 32 bits, CRC-32 of the group's whole text; 0: not given
AT_BEFORE = const(16)  # in a birth block: 4 bytes, id of the ring that the file held before; 0: not known

AT_PAYLOAD = const(22)
AT_CRC = const(508)
PAYLOAD = const(486)  # AT_CRC - AT_PAYLOAD
PAYLOAD_BITS = const(3888)

# Block kinds; a reader skips a block of an unknown kind from OPTIONAL up
SETUP = const(1)
PACKED = const(2)
PLAIN = const(3)
BIRTH = const(4)
HEALTH = const(0x80)
CODES = const(0x81)  # what the car's computers answered to the session's one question for trouble codes
OPTIONAL = const(0x80)

# The file that a birth block is in
DRIVE_FILE = const(0)
PULLS_FILE = const(1)

# Setup repeats at least this often, so that any surviving window decodes; the first time after SETUP_AGAIN blocks
SETUP_EVERY = const(1024)
SETUP_AGAIN = const(8)

# Packed columns have a six-bit descriptor each
WIDTH_MASK = const(0x1F)
DIFFERENCE = const(0x20)
DESCRIPTOR_BITS = const(6)
MAX_BITS = const(24)  # of one column's value; differences then stay small integers on every board

# Widths and meanings of columns, shared by firmware and readers
COUNT_BITS = const(24)  # edge counter, wraps
AGE_BITS = const(20)  # microseconds since the last edge; all ones: so long ago or longer, or never
REJECTED_BITS = const(16)  # rejected edges, wraps
ON_BITS = const(17)  # length of the last complete pulse in microseconds, saturates
MARK_BITS = const(16)  # open_mark(id) while marked pull `id` is open, ended_mark(id) after it
FLAG_BITS = const(16)  # flag_of(id, kind) of the latest flag
HELD_BITS = const(12)  # age of a held value in milliseconds, saturates
STALE_MS = const(1000)  # a held value this old or older is invalid
# From the car's bus: a value's age in ms, saturates; ms from the last request to its answer's first frame, all ones for
# none yet; answers that never came whole, wraps; state (bus_states.py)
BUS_BITS = (17, 12, 16, 4)
LATE_BITS = const(16)  # microseconds after the grid tick, saturates
LAMP_BITS = const(8)
STALL_BITS = const(12)  # ms, saturates
HEAP_BITS = const(10)  # kB, saturates
DIPS_BITS = const(8)  # supply dips, wraps
FLAG_SPOILED = const(0)
FLAG_VOID = const(1)

STALL_LEAST_MS = const(16)  # a shorter wait is stored as 0, so that nearly every row has the same number
DIP_V = 10.0  # the supply has dipped below this; above SUPPLY_BACK_V it is back
SUPPLY_BACK_V = 10.5

# Lamp states; FAULT + n shows fault number n
LAMP_OFF = const(0)
LAMP_RECORDING = const(1)
LAMP_MARKING = const(2)
LAMP_LEAN = const(3)
LAMP_CARD_OUT = const(4)
LAMP_STARTING = const(5)  # nothing is written yet
LAMP_ENDED = const(6)  # a pull ended by itself a moment ago
LAMP_FAULT = const(64)


_BLANK = bytes(SLOT)


def open_mark(pull):
    """The mark column while marked pull `pull` (its id) is open."""
    return 2 * pull - 1


def ended_mark(pull):
    """The mark column once marked pull `pull` has ended."""
    return 2 * pull


def mark_open(mark):
    """Whether a pull is open: 1 or 0. mark: the column's value, or an array of them."""
    return mark & 1


def mark_pull(mark):
    """The id of the open or latest pull; 0 before the first."""
    return (mark + 1) >> 1


def flag_of(pull, kind):
    """The flag column after a pull was flagged FLAG_SPOILED or FLAG_VOID."""
    return pull << 1 | kind


def flag_pull(flag):
    """The id of the latest flagged pull; 0 for none."""
    return flag >> 1


def flag_kind(flag):
    """The kind of the latest flag."""
    return flag & 1


def put16(block, at, value):
    """Store the low 16 bits of `value` at offset `at`, low byte first."""
    block[at] = value & 0xFF
    block[at + 1] = (value >> 8) & 0xFF


def get16(block, at):
    """The unsigned 16-bit number at offset `at`."""
    return block[at] | block[at + 1] << 8


def put32(block, at, value):
    """Store 32 bits at offset `at`, low byte first; `value` may be a heap integer on a board."""
    put16(block, at, value & 0xFFFF)
    put16(block, at + 2, (value >> 16) & 0xFFFF)


def get32(block, at):
    """The unsigned 32-bit number at offset `at` (a heap integer on boards when it passes 2^30)."""
    return get16(block, at) | get16(block, at + 2) << 16


def start_block(block, kind, ring_id):
    """Clear `block` (bytearray of SLOT) and write the common header: magic, version, kind, ring id (4 bytes)."""
    block[:] = _BLANK
    block[AT_MAGIC] = MAGIC_0
    block[AT_MAGIC + 1] = MAGIC_1
    block[AT_VERSION] = VERSION
    block[AT_KIND] = kind
    for at in range(4):
        block[AT_RING + at] = ring_id[at]


def seal(block, checked):
    """Write the CRC-32 of bytes 0 to 507; `checked` is memoryview(block)[:AT_CRC], made once by the caller."""
    put32(block, AT_CRC, crc32(checked))


def birth(ring_id, which, slots, sequence):
    """A new file's first block, sealed. which: DRIVE_FILE or PULLS_FILE. slots: in the file."""
    block = bytearray(SLOT)
    start_block(block, BIRTH, ring_id)
    put32(block, AT_SEQUENCE, sequence)
    put16(block, AT_LENGTH, 8)
    put32(block, AT_PAYLOAD, slots)
    block[AT_PAYLOAD + 4] = which
    seal(block, memoryview(block)[:AT_CRC])
    return block


def name_before(birth_block, block):
    """If `block` is a block of a ring, write to the birth block that the file held that ring before, and seal it
    again."""
    if verdict(block) is None:
        for at in range(4):
            birth_block[AT_BEFORE + at] = block[AT_RING + at]
        seal(birth_block, memoryview(birth_block)[:AT_CRC])


def verdict(block):
    """Why `block` (bytes of length SLOT) can't be used; None if it can.

    'empty' (never written), 'damaged' (CRC), 'not a block' (valid CRC, but no magic or no version), 'newer version',
    'unknown kind'.
    """
    if crc32(memoryview(block)[:AT_CRC]) != get32(block, AT_CRC):
        return "empty" if block == _BLANK else "damaged"
    if block[AT_MAGIC] != MAGIC_0 or block[AT_MAGIC + 1] != MAGIC_1 or block[AT_VERSION] == 0:
        return "not a block"
    if block[AT_VERSION] != VERSION:
        return "newer version"
    kind = block[AT_KIND]
    if kind < OPTIONAL and not SETUP <= kind <= BIRTH:
        return "unknown kind"
    return None
