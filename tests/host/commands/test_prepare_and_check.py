"""`prepare` makes a card that firmware and reader take; `check` explains every mistake at once."""

import errno
import json
import re
from pathlib import Path

import pytest

import ringpull
import ringpull.errors
from ringpull.cli.main import main
from ringpull.device.prepare import hours
from shared_math import config as configuration
from shared_math import layout

GOOD = {
    "version": 1,
    "rate_hz": 50,
    "channels": [{"name": "lambda_1", "input": "a0", "kind": "lambda", "volts": [0, 5], "values": [0.6, 1.4]}],
}


def write(path, config):
    path.write_text(config if isinstance(config, str) else json.dumps(config))
    return str(path)


def test_prepared_files_are_whole_and_begin_with_their_birth(tmp_path, capsys):
    config = write(tmp_path / "mine.json", GOOD)
    card = tmp_path / "card"
    card.mkdir()
    assert main(["prepare", str(card), "--config", config, "--drive-mb", "3", "--pulls-mb", "1"]) == 0
    drive, pulls = (card / "drive.rpl").read_bytes(), (card / "pulls.rpl").read_bytes()
    assert (len(drive), len(pulls)) == (3 << 20, 1 << 20)
    for data, which in ((drive, layout.DRIVE_FILE), (pulls, layout.PULLS_FILE)):
        assert layout.verdict(data[: layout.SLOT]) is None
        assert data[layout.AT_KIND] == layout.BIRTH and data[layout.AT_PAYLOAD + 4] == which
        assert layout.get32(data, layout.AT_PAYLOAD) == len(data) // layout.SLOT
        assert not any(data[layout.SLOT :])
    assert drive[layout.AT_RING : layout.AT_RING + 4] == pulls[layout.AT_RING : layout.AT_RING + 4]
    assert json.loads((card / "logger.json").read_text()) == GOOD


def test_it_says_how_long_the_card_lasts_and_what_comes_next(tmp_path, capsys):
    assert main(["prepare", str(tmp_path), "--drive-mb", "8", "--pulls-mb", "1"]) == 0
    shown = capsys.readouterr().out
    assert "raw counts of every input" in shown and "ringpull setup" in shown and "Next: eject the card" in shown
    assert re.search(r"Room for about \d+ (hours?|minutes) of driving, at least \d+ (hours?|minutes)", shown)
    for name in ("drive.rpl", "pulls.rpl"):
        (tmp_path / name).unlink()
    config = write(tmp_path / "mine.json", GOOD)
    assert main(["prepare", str(tmp_path), "--config", config, "--drive-mb", "8", "--pulls-mb", "1"]) == 0
    shown = capsys.readouterr().out
    assert "raw counts" not in shown and "mine.json records, but can give no answer" in shown
    assert main(["prepare", str(tmp_path / "none"), "--json"]) == 2


@pytest.mark.parametrize("log", ["v1_marked", "v1_unmarked"])
def test_the_hours_are_what_drives_of_the_firmware_took(log):
    """Blocks that a recorded drive took, scaled to 64 MB: never below the least, and within a third of the usual."""
    folder = Path(__file__).resolve().parents[3] / "demo_logs" / log
    data = (folder / "drive.rpl").read_bytes()
    (session,) = ringpull.read(folder).sessions
    blocks = sum(any(data[at : at + layout.SLOT]) for at in range(0, len(data), layout.SLOT))
    took_h = (64 << 20) / layout.SLOT / blocks * session.rows / session.rate_hz / 3600
    least_h, usual_h = hours(session.config.written, 64)
    assert least_h <= took_h and usual_h / 1.34 <= took_h <= usual_h * 1.34, (least_h, usual_h, took_h)


def test_more_than_a_block_a_second_is_not_saved():
    """64 MB hold 131,072 blocks: 36.4 hours at one a second, of however little."""
    slow = configuration.defaults(dict(GOOD, rate_hz=1))
    assert hours(slow, 64) == (pytest.approx(131072 / 3600), pytest.approx(131072 / 3600))


def test_a_prepared_card_is_not_overwritten(tmp_path, capsys):
    (tmp_path / "drive.rpl").write_bytes(b"a drive")
    assert main(["prepare", str(tmp_path)]) == 2
    assert (tmp_path / "drive.rpl").read_bytes() == b"a drive" and not (tmp_path / "pulls.rpl").exists()
    assert capsys.readouterr().err.count("\n") == 3


def test_a_card_that_gives_up_is_told_and_left_without_half_made_files(tmp_path, capsys, monkeypatch):
    def rename(self, target):
        raise OSError(errno.EIO, "Input/output error")

    monkeypatch.setattr(Path, "rename", rename)
    assert main(["prepare", str(tmp_path), "--drive-mb", "1", "--pulls-mb", "1"]) == 2
    assert capsys.readouterr().err.startswith(
        f"error: {tmp_path} could not be written: Input/output error\n  likely cause:"
    )
    assert list(tmp_path.iterdir()) == []
    monkeypatch.undo()
    assert main(["prepare", str(tmp_path), "--drive-mb", "1", "--pulls-mb", "1"]) == 0


def test_a_bad_configuration_leaves_the_card_as_it_was(tmp_path, capsys):
    config = write(tmp_path / "mine.json", dict(GOOD, rate_hz=0))
    card = tmp_path / "card"
    card.mkdir()
    assert main(["prepare", str(card), "--config", config]) == 2
    assert not list(card.iterdir())


def test_check_explains_all_mistakes_at_once(tmp_path, capsys):
    bad = dict(GOOD, rate_hz=0, colour="red")
    bad["channels"] = [dict(GOOD["channels"][0], volts=[5, 5])]
    assert main(["check", write(tmp_path / "bad.json", bad), "--json"]) == 2
    mistakes = json.loads(capsys.readouterr().out)["mistakes"]
    assert len(mistakes) >= 3
    assert all(m["what"] and m["cause"] and m["step"] and m["code"] for m in mistakes)


def test_a_card_that_recorded_nothing_is_told(tmp_path, capsys):
    assert main(["prepare", str(tmp_path), "--drive-mb", "1", "--pulls-mb", "1"]) == 0
    assert main(["info", str(tmp_path)]) == 3
    with pytest.raises(ringpull.errors.RingpullError):
        ringpull.read(tmp_path)


def test_wrong_arguments_are_told_in_three_lines(capsys):
    for words in (["decode", "card"], ["note", "card", "x", "hi"], ["prepare", "card", "--drive-mb", "0"]):
        with pytest.raises(SystemExit) as stop:
            main(words)
        assert stop.value.code == 2
        lines = capsys.readouterr().err.splitlines()
        assert len(lines) == 3 and lines[0].startswith("error: ") and lines[2].startswith("  what to do: ")
