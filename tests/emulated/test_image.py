"""The image is named once; card faults are tried on the emulated board and on the desk board alike."""

import image
import scenarios

from tests.host.dryrun import test_card_faults as on_the_desk

# Card fault -> its scenario on the emulated board, its story on the desk board
FAULTS = {
    "out": ("card out", "out"),
    "refuses writes": ("card refuses", "refuses writes"),
    "never ready": ("card never ready", "never ready"),
    "stalls of 2 s": ("card stalls 2 s", "busy for 2 s again and again"),
    "sound": ("card sound", "takes its time"),
}
SWAPPED = "card swapped"  # on the desk board a test of its own, since another card is made there


def test_an_image_named_once_is_used_again(monkeypatch, tmp_path):
    remembered, uf2 = tmp_path / "image.txt", tmp_path / "image.uf2"
    monkeypatch.delenv(image.VARIABLE, raising=False)
    assert image.named(remembered) is None and "named" in image.lacking()
    uf2.write_bytes(b"UF2\n")
    monkeypatch.setenv(image.VARIABLE, str(uf2))
    assert image.named(remembered) == uf2
    monkeypatch.delenv(image.VARIABLE)
    assert image.named(remembered) == uf2
    uf2.unlink()
    assert image.named(remembered) is None


def test_a_wrong_name_is_told_and_not_remembered(monkeypatch, tmp_path):
    monkeypatch.setenv(image.VARIABLE, str(tmp_path / "absent.uf2"))
    assert image.named(tmp_path / "image.txt") is None and not (tmp_path / "image.txt").exists()
    assert "absent.uf2" in image.lacking()


def test_every_card_fault_is_tried_on_both_boards():
    emulated = {name for name in scenarios.SCENARIOS if name.startswith("card ")}
    assert emulated == {SWAPPED, *(scenario for scenario, _ in FAULTS.values())}
    assert callable(on_the_desk.test_it_comes_in_time_while_another_card_is_made_ready)
    assert {story for _, story in FAULTS.values()} <= set(on_the_desk.STORIES)
    assert set(scenarios.SAID) == set(scenarios.SCENARIOS)
