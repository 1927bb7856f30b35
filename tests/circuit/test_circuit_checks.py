"""What README tells to measure is what the circuit gives in that very state; a fault would show."""

import re

import pytest
import spice

from hardware.circuit import build, checks
from shared_math import front_end

README = (build.HARDWARE / "README.md").read_text()


@spice.needs_ngspice
@pytest.mark.parametrize("check", checks.ALL, ids=lambda c: c.text)
def test_value_of_a_sound_circuit(check):
    """At both ends of the board's 3V3, 11.5 to 13 V from the bench, and with the pull-downs of a board without
    firmware."""
    for rail_v in (3.3 * (1 - front_end.REFERENCE_TOLERANCE), 3.3 * (1 + front_end.REFERENCE_TOLERANCE)):
        for feed_v in (11.5, 13.0):
            for pull_ohm in (checks.NO_PULL_OHM, *checks.PULL_OHM) if check.pin else (checks.NO_PULL_OHM,):
                value = spice.run(check.deck(rail_v, feed_v, pull_ohm))[check.at][0]
                assert check.low <= value <= check.high, (rail_v, feed_v, pull_ohm)


@spice.needs_ngspice
@pytest.mark.parametrize("text", [c.text for c in checks.ALL if c.at in ("v(x.b)", "v(h.pf)") and c.low > 1])
def test_a_missing_pull_up_is_still_seen(text):
    """The wide limits of pins that an RP2040 board pulls down itself: without R1 or R4 they read 0 V."""
    check = next(one for one in checks.ALL if one.text == text)
    deck = check.deck(3.3, 12.0, checks.PULL_OHM[1])
    pull_up = "rx.r1 3v3 x.b 47k" if check.at == "v(x.b)" else "rh.r4 3v3 h.pf 10k"
    assert pull_up in deck
    assert spice.run(deck.replace(pull_up, ""))[check.at][0] < 0.5


@pytest.mark.parametrize("check", checks.ALL, ids=lambda c: c.text)
def test_readme_says_it(check):
    assert check.text in README


def test_readme_tells_no_other_value():
    """Every check in the steps is one of those computed: no number with a unit after "Check:" is left over."""
    steps = README.split("## Step by step")[1].split("## The lambda sensor")[0]
    for line in steps.splitlines():
        if "*Check:*" not in line:
            continue
        left = line.split("*Check:*", 1)[1]
        for check in sorted(checks.ALL, key=lambda c: -len(c.text)):
            left = left.replace(check.text, "")
        left = re.sub(r"\((?:[^()]*)\)", "", left)  # what is said besides stands in brackets
        left = re.sub(r"12 V|to 5 V|3V3 and 5 V|5 V are back", "", left)  # what is fed, not what is measured
        assert not re.search(r"\d+(\.\d+)? (V|mV|mA|ohm)\b", left), left
