"""Inputs by name, and what the known external converters have. Figures of the data sheets: MCP3208 (DS21298), MCP3304
(DS21697), ADS1115 (SBAS444)."""

from shared_math import converters


def test_names_of_inputs():
    for name, parsed in (
        ("a0", ("a", 0, None)),
        ("p12", ("p", 12, None)),
        ("d3", ("d", 3, None)),
        ("x7", ("x", 7, None)),
        ("x0-x1", ("x", 0, 1)),
        ("y3-y0", ("y", 3, 0)),
        ("x10-x11", ("x", 10, 11)),
    ):
        assert converters.parse(name) == parsed, name
    for name in (
        "",
        "a",
        "a123",
        "b0",
        "a-1",
        "ax",
        "a1x",
        "x",
        "x0-",
        "-x1",
        "x0-y1",
        "x2-x2",
        "a0-a1",
        "x0-x",
        "x0-1",
    ):
        assert converters.parse(name) is None, name


def test_the_part_of_an_input():
    told = {"converters": {"y": "ads1115"}}
    assert converters.part_of(told, "y1") == "ads1115" and converters.part_of(told, "x1") is None
    assert converters.part_of(told, "a1") is None and converters.part_of(told, "p1") is None
    assert converters.part_of({}, "x1") == "mcp3208" and converters.part_of({}, "y1") is None


def test_what_each_part_has():
    pairs = ("0-1", "1-0", "2-3", "3-2", "4-5", "5-4", "6-7", "7-6")
    for part, inputs, differences, signed, slow in (
        ("mcp3208", 8, (), False, False),
        ("mcp3304", 8, pairs, True, False),
        ("ads1115", 4, ("0-1", "0-3", "1-3", "2-3"), True, True),
    ):
        assert converters.inputs(part) == inputs and converters.differences(part) == differences
        assert (converters.signed(part), converters.slow(part)) == (signed, slow)
    assert converters.scale("mcp3208", 4.0) == (12, 4.0)  # from 0 to the reference
    assert converters.scale("mcp3304", 4.0) == (13, 8.0)  # from minus to plus the reference
    assert converters.scale("ads1115", 4.0) == (16, 8.192)  # its own reference, from -4.096 to 4.096 V
