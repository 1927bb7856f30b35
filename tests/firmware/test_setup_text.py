"""The setup text: what a reader is told of the rows, with the configuration to the letter. Runs under MicroPython."""

import json

from shared_math import VERSION
from store import setup_text


def test_all_that_a_reader_needs_is_in_it():
    columns = [{"n": "mark", "r": "mark", "b": 16}]
    config = b'{"version":1,"note":"\\u00e9 kept as it is"}'
    text = setup_text.build("desk", "2031-05-06T07:08:09Z", 5000, columns, [21, 30], config)
    assert text.endswith(b',"config":' + config + b"}")
    assert json.loads(text) == {
        "firmware": VERSION,
        "board": "desk",
        "utc": "2031-05-06T07:08:09Z",
        "period_us": 5000,
        "columns": columns,
        "faults": [21, 30],
        "config": json.loads(config),
    }
    assert json.loads(setup_text.build("desk", None, 5000, [], [], b"{}"))["utc"] is None
