"""FORMAT.md says what the code does: its dump is a real file, its tables have layout.py's numbers."""

import re

from make import format_example

from ringpull.files.firmware_sources import shared_math_dir
from shared_math import layout, unpacking

PAGE = (shared_math_dir() / "FORMAT.md").read_text()


def test_the_dump_is_the_file_byte_by_byte():
    text = PAGE.split("```dump\n")[1].split("```")[0]
    assert format_example.undump(text) == format_example.build()


def test_the_dumps_rows_are_the_ones_the_page_names():
    data = format_example.undump(PAGE.split("```dump\n")[1].split("```")[0])
    for start in range(0, len(data), layout.SLOT):
        assert layout.verdict(data[start : start + layout.SLOT]) is None
    columns = unpacking.unpack(data[2 * layout.SLOT :], [12, 16])
    assert [list(row) for row in zip(*columns)] == format_example.ROWS
    for row in format_example.ROWS:
        assert ", ".join(map(str, row)) in PAGE


def test_kinds_and_offsets_of_the_page_are_the_codes():
    kinds = dict(re.findall(r"^\| (\d+) \| (setup|packed|plain|birth|health) \|", PAGE, re.M))
    assert {name: int(number) for number, name in kinds.items()} == {
        "setup": layout.SETUP,
        "packed": layout.PACKED,
        "plain": layout.PLAIN,
        "birth": layout.BIRTH,
        "health": layout.HEALTH,
    }
    offsets = {name: int(at) for at, name in re.findall(r"^\| (\d+) \| \d+ \| ([a-z ]+) \|", PAGE, re.M)}
    assert offsets["magic"] == layout.AT_MAGIC
    assert offsets["version"] == layout.AT_VERSION
    assert offsets["ring id"] == layout.AT_RING
    assert offsets["sequence"] == layout.AT_SEQUENCE
    assert offsets["session"] == layout.AT_SESSION
    assert offsets["payload"] == layout.AT_PAYLOAD
    assert offsets["first row"] == layout.AT_FIRST_ROW
    assert offsets["rows"] == layout.AT_ROWS
    assert offsets["lost"] == layout.AT_LOST
    assert offsets["whole"] == layout.AT_WHOLE
    assert offsets["before"] == layout.AT_BEFORE
    assert f"Format version {layout.VERSION}." in PAGE
