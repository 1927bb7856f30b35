"""Each possible mistake outside the channels of a configuration is found, and several are told together."""

from config_good import good
from config_mistaken import MAP, assert_found
from mistakes_elsewhere import MISTAKES

from shared_math import config


def test_the_good_configuration_has_no_mistake():
    assert config.check(good()) == []
    assert config.check(config.defaults(good())) == []
    assert config.check(config.DEFAULT) == []
    assert config.check(config.defaults(config.DEFAULT)) == []


def test_each_mistake_is_found_and_named():
    assert_found(MISTAKES)


def test_all_mistakes_are_told_at_once():
    wrong = good()
    wrong["rate_hz"] = "200"
    wrong["channels"][MAP]["values"] = [1]
    wrong["fuel"]["name"] = "benzin"
    codes = [code for code, _, _ in config.check(wrong)]
    assert sorted(codes) == ["fuel_unknown", "list_length", "text_for_number"]
