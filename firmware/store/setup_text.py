"""The setup text: what a reader needs to know about the session's rows."""

import json

from shared_math import VERSION


def build(board_name, utc, period_us, columns, faults, config_text):
    """JSON bytes. config_text: the configuration in force as squeezed JSON bytes, kept to the letter."""
    head = {
        "firmware": VERSION,
        "board": board_name,
        "utc": utc,
        "period_us": period_us,
        "columns": columns,
        "faults": faults,
    }
    return json.dumps(head)[:-1].encode() + b',"config":' + config_text + b"}"
