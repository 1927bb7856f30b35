"""What tests of the shelf share."""

import pytest
import shelf_cards

from ringpull.shelf import judging


@pytest.fixture(scope="session")
def judged(tmp_path_factory):
    """A drive's judgement, made once."""
    return judging.judge(shelf_cards.card(tmp_path_factory.mktemp("judged")) / "drive.rpl")


@pytest.fixture
def quick(judged, monkeypatch):
    """Judging gives the same answer at once, in processes that are forked too; returns the rings that were judged."""
    asked = []
    monkeypatch.setattr(judging, "judge", lambda ring, calibration=None: asked.append(ring) or judged)
    return asked
