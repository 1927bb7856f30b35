"""A drive whose vehicle has no name is told by the folder that its owner named."""

from pathlib import Path

from ringpull.files import names


def test_a_folder_that_every_card_has_tells_nothing():
    assert names.of_source(Path("/x/before/card")) == names.of_source(Path("/x/before/card/drive.rpl")) == "before"
    assert names.of_source(Path("/x/2026-04-01")) == "2026-04-01"
    assert names.of_source(Path("/x/hill.rpl")) == "hill.rpl"
    assert names.of_source(Path("/card")) == "card"
