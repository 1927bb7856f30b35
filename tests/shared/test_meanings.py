"""What a kind of channel needs is explained."""

from shared_math.config import check_bus, explanations, schema


def test_every_needed_key_has_its_meaning():
    for kind, keys in list(schema.NEEDED.items()) + list(check_bus.NEEDED.items()):
        for key in keys:
            assert key in explanations.MEANING, (kind, key)
