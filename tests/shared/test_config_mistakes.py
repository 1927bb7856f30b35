"""Each possible mistake in a configuration is found, and told with the others."""

from config_good import good
from config_mistakes import MAP, MISTAKES, mistaken

from shared_math import config


def test_the_good_configuration_has_no_mistake():
    assert config.check(good()) == []
    assert config.check(config.defaults(good())) == []
    assert config.check(config.DEFAULT) == []
    assert config.check(config.defaults(config.DEFAULT)) == []


def test_each_mistake_is_found_and_named():
    for code, path, value in MISTAKES:
        codes = {problem[0] for problem in config.check(mistaken(path, value))}
        assert code in codes, (code, path, codes)
        # A wrong curve or renamed channel may bring a second, but never a mistake that is not there
        assert len(codes) <= 2, (code, path, codes)


def test_all_mistakes_are_told_at_once():
    wrong = good()
    wrong["rate_hz"] = "200"
    wrong["channels"][MAP]["values"] = [1]
    wrong["fuel"]["name"] = "benzin"
    codes = [code for code, _, _ in config.check(wrong)]
    assert sorted(codes) == ["fuel_unknown", "list_length", "text_for_number"]
