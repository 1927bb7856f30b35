"""Each possible mistake in a channel is found. A file of its own: both lists together leave a small heap no room."""

from config_mistaken import assert_found
from mistakes_in_channels import MISTAKES


def test_each_mistake_in_a_channel_is_found_and_named():
    assert_found(MISTAKES)
