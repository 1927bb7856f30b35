"""Lamp and fault numbers on paper are the firmware's own."""

import re

import pytest

from shared_math import faults, layout
from tests.make import glove_box


@pytest.mark.parametrize(("path", "made"), [(glove_box.PAGE, glove_box.page), (glove_box.SHEET, glove_box.sheet)])
def test_both_are_up_to_date(path, made):
    assert path.read_text(encoding="utf-8") == made(), "write them: python -m tests.make.glove_box"


def test_every_fault_has_its_row():
    page = glove_box.PAGE.read_text(encoding="utf-8")
    for number, what, cause, step in faults.FAULTS.values():
        assert re.search(
            rf"^\| {number} \| [—• ]+ \| {re.escape(what)} \| {re.escape(cause)} \| {re.escape(step)} \|$", page, re.M
        )
    assert glove_box.blinks(21) == "— — •" and glove_box.blinks(46).count("—") == 4


def test_every_lamp_pattern_has_its_row():
    """Each state of the lamp that shines, the fault number, the flicker of a start without a card, and the two of the
    bench and the self-test, where no rows are."""
    states = [name for name in dir(layout) if name.startswith("LAMP_") and name not in ("LAMP_OFF", "LAMP_BITS")]
    assert len(glove_box.LAMP) == len(states) + 3
