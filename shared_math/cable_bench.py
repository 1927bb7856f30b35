"""What PC and logger say to each other at the bench, where nothing is recorded: CABLE.md, "At the bench". Apart from
cable.py, whose names take memory while the logger records.
"""

from shared_math.cable import CODES
from shared_math.compat import const

CONVERTER = "converter"
MEAN = "mean"
READ = "read"
TEXT = "text"
KEEP = "keep"
DRIVE = "drive"
PROVE = "prove"
CLEAR = "clear"
RECORD = "record"
ASKED = (CONVERTER, MEAN, READ, TEXT, KEEP, DRIVE, PROVE, CODES, CLEAR, RECORD)

CONFIG_FILE = "c"
HISTORY_FILE = "h"
HISTORY = "calibrations.jsonl"  # its name on the card and beside a configuration on the PC
MOST_ROWS = const(8000)  # of a mean
MOST_TEXT = const(16384)  # bytes of a file that is brought
PIECE = const(24)  # bytes of it in a request, before base64
