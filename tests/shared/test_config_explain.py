"""Mistakes in words: guesses at typing slips, and what is no configuration at all."""

from config_good import good

from shared_math import config


def test_a_typing_slip_gets_a_guess():
    wrong = good()
    wrong["chanels"] = wrong.pop("channels")
    lines = [config.explain(problem)[0] for problem in config.check(wrong)]
    assert any('did you mean "channels"?' in line for line in lines), lines


def test_what_is_no_configuration_at_all():
    for junk in (None, 3, "x", [], {}, {"channels": 3}, {"version": 1, "channels": [3, {}, {"name": 3, "kind": []}]}):
        problems = config.check(junk)
        assert problems
        for problem in problems:
            config.explain(problem)
