"""Limits of the logger's self-test, the same for the board alone and for a PC: what is measured, and when it is good.

Where no source is named they are common practice, no source.
"""

from shared_math.compat import const

WRITES = const(512)  # sectors of the card's test
WORST_WRITE_US = const(500000)  # rows wait so long in memory at least: firmware/memory.py
EDGES_MS = (1, 2, 4, 8, 16, 32, 64, 128, 256, 512, 1024)  # between the classes of a write's time
NOISE_PARTS = const(820)  # one sigma at most: the range through this, which is 5 counts of 4096
LEAST_FREE = const(4096)  # bytes in one piece, beside all that records: a session begins with so much
NO_SUPPLY_V = 3.0  # below: the board lives on USB alone
LEAST_SUPPLY_V = 9.0
MOST_SUPPLY_V = 15.5
LOOP_HZ = (33, 200, 400)
LOOP_PPM = const(1000)
CLOCK_S = const(2)
CLOCK_PPM = const(500)

GOOD = "pass"
BAD = "fail"
ABSENT = "not there"


def writes(told):
    """Of the card's test (CABLE.md, "prove card")."""
    return BAD if told["wrong"] or told["failed"] or told["worst_us"] > WORST_WRITE_US else GOOD


def sigma(told):
    """Standard deviation of one reading in counts (CABLE.md, "mean")."""
    rows = told["rows"]
    mean = told["sum"] / rows
    return max(0.0, (told["squares"] / rows - mean * mean) * rows / (rows - 1)) ** 0.5


def stuck_bit(told, bits):
    """Number of a bit that never changed though the readings went far enough for it to, or -1."""
    reached = told["most"] - told["least"]
    for bit in range(bits):
        if reached < 4 << bit:
            break
        if not told["ones"] >> bit & 1 or told["always"] >> bit & 1:
            return bit
    return -1


def at_an_end(told, bits):
    """Whether readings touch an end of the converter's range: they say nothing of its noise."""
    return told["least"] <= 0 or told["most"] >= (1 << bits) - 1


def converter(told, bits):
    """Of an input that rests."""
    if at_an_end(told, bits):
        return ABSENT
    if told["least"] == told["most"] or stuck_bit(told, bits) >= 0:
        return BAD
    return GOOD if sigma(told) * NOISE_PARTS <= 1 << bits else BAD


def memory(told):
    """Of the memory (CABLE.md, "prove memory")."""
    return GOOD if told["largest"] >= LEAST_FREE else BAD


def supply(volts):
    """Of the car's 12 V."""
    if volts < NO_SUPPLY_V:
        return ABSENT
    return GOOD if LEAST_SUPPLY_V <= volts <= MOST_SUPPLY_V else BAD
