"""The lines of the cable: what PC and logger say to each other over the logger's USB console while it records.

CABLE.md beside this file is the authority; a test compares its table with this module.
"""

from binascii import crc32

from shared_math.compat import const

VERSION = const(1)
START = const(0x1E)  # record separator: no text that a console prints holds it
PACKET = const(64)  # bytes; answers are whole packets
MOST_LINE = const(64)  # bytes of a line, its end included
MOST_PAYLOAD = const(512)  # a block of the ring
CRC_DIGITS = const(8)

# What the PC asks
STATE = "state"
SETUP = "setup"
NOW = "now"
BLOCKS = "blocks"
CLOCK = "clock"
STOP = "stop"
BENCH = "bench"
CODES = "codes"
ASKED = (STATE, SETUP, NOW, BLOCKS, CLOCK, CODES, STOP, BENCH)

# What the logger answers where it can't do what was asked
REFUSED = "refused"

DRIVE_FILE = "d"
PULLS_FILE = "p"


def line(number, words):
    """A request, or the head of an answer without its filling: bytes that end with a line feed.

    number: of the request, 0 to 65535. words: texts without spaces.
    """
    text = b"\x1e%d %s" % (number, " ".join(words).encode())
    return b"%s %08x\n" % (text, crc32(text) & 0xFFFFFFFF)


def head(number, words, payload):
    """The head of an answer, PACKET bytes. ValueError where the words are too long."""
    words = words + (str(len(payload)), "%08x" % (crc32(payload) & 0xFFFFFFFF))
    out = line(number, words)
    if len(out) > PACKET:
        raise ValueError("the head is longer than a packet")
    return out[:-1] + b" " * (PACKET - len(out)) + b"\n"


def read_line(data):
    """(number, list of words) of a line, from START to its line feed, or None where it is not whole. data: bytes."""
    data = bytes(data).rstrip()
    at = data.rfind(b" ")
    if not data or data[0] != START or at < 0 or len(data) - at - 1 != CRC_DIGITS:
        return None
    try:
        if int(data[at + 1 :], 16) != crc32(data[:at]) & 0xFFFFFFFF:
            return None
        words = data[1:at].decode().split(" ")
        return int(words[0]), words[1:]
    except ValueError:
        return None


def read_head(data):
    """(number, words, bytes of payload, its CRC-32) of an answer's first packet, or None. data: bytes."""
    told = read_line(data)
    if told is None or len(told[1]) < 3:
        return None
    number, words = told
    try:
        length = int(words[-2])
        crc = int(words[-1], 16)
    except ValueError:
        return None
    return (number, words[:-2], length, crc) if 0 <= length <= MOST_PAYLOAD else None


def filled(length):
    """Bytes that a payload of `length` takes on the cable: whole packets."""
    return (length + PACKET - 1) // PACKET * PACKET
