"""A kind of channel is known wherever it must be."""

from config_good import good

from shared_math import channels, config
from shared_math.config import explanations as explain
from shared_math.config import schema


def test_every_kind_is_known_everywhere():
    """In the schema's tables, in the good configuration that all tests use, in the ring file's columns, in words."""
    full = config.defaults(good())
    assert {channel["kind"] for channel in full["channels"]} == set(schema.KINDS) == set(schema.NEEDED)
    assert set(schema.DEFAULTS) == set(schema.KINDS)
    stored = [column["n"] for column in channels.columns(full, lambda _input: (12, 3.3, 0))]
    for channel in full["channels"]:
        assert channel["name"] in stored, channel
    for kind, keys in schema.NEEDED.items():
        for key in keys:
            assert key in explain.MEANING, (kind, key)
