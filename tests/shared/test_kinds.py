"""A kind of channel is known wherever it must be."""

from config_good import good

from shared_math import channels, config
from shared_math.config import check_bus, schema


def test_every_kind_is_known_everywhere():
    """In the schema's tables, in the good configuration that all tests use, in the ring file's columns."""
    full = config.defaults(good())
    kinds = set(schema.KINDS) | set(check_bus.KINDS)
    assert {channel["kind"] for channel in full["channels"]} == kinds == set(schema.NEEDED) | set(check_bus.NEEDED)
    assert set(check_bus.KINDS) == set(channels.BUS_KINDS)
    assert set(schema.DEFAULTS) == set(schema.KINDS)
    stored = [column["n"] for column in channels.columns(full, lambda _input: (12, 3.3, 0))]
    for channel in full["channels"]:
        assert channel["name"] in stored, channel


def test_bits_are_counted_as_a_dbc_file_does():
    from shared_math import bus

    frame = bytes((0x12, 0x34, 0x56, 0x78, 0x9A, 0xBC, 0xDE, 0xF0))
    assert bus.extract(frame, 0, 16, False, False) == 0x3412
    assert bus.extract(frame, 4, 12, False, False) == 0x341
    assert bus.extract(frame, 7, 16, True, False) == 0x1234
    assert bus.extract(frame, 3, 12, True, False) == 0x234
    assert bus.extract(frame, 39, 8, True, True) - 128 == 0x9A - 256
    assert bus.last_byte(0, 16, False) == 1 and bus.last_byte(7, 16, True) == 1 and bus.last_byte(3, 5, True) == 1
    assert bus.last_byte(63, 2, False) == 8 and bus.last_byte(56, 2, True) == 8
    assert [bus.frame_id(one) for one in ("5F0", "0x5f0", 1520, True, "x", -1)][:3] == [0x5F0] * 3


def test_too_many_values_and_a_bus_for_nothing():
    few = {"version": 1, "bus": {"ask": True}, "channels": [{"name": "a", "input": "d0", "kind": "digital"}]}
    assert [code for code, _, _ in config.check(few)] == ["bus_unused"]
    few["channels"] = [{"name": "v%d" % n, "kind": "obd", "pid": "0C"} for n in range(17)]
    assert [code for code, _, _ in config.check(few)] == ["obd_many"]
