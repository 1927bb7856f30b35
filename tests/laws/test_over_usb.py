"""The way over USB from a bare board to a report, as README and guide show it: every command of it against the real
firmware, or MicroPython's prompt, on a pty."""

import io
import shlex

import documents
import pytest
from truth.cable_desk import bare, desk, linked, modules_for_the_desk, wait_for
from truth.profile import Profile, holds
from truth.signals import Signals, Tach

from ringpull.cable import install
from ringpull.cli import main
from shared_math import layout

END_S = 600.0


@pytest.fixture
def logger(tmp_path):
    """What the board is once it has started: the firmware, a pull marked."""
    level, pressure = Profile([(0, 0.85), (END_S, 0.85)]), Profile([(0, 180), (END_S, 180)])
    made = Signals(holds([3000], END_S), Tach(2), {"lambda_1": level, "map": pressure}, presses_s=[0.8, 1.8])
    with desk(tmp_path / "logger", made, END_S, paced=8) as running:
        with linked(running) as link:
            wait_for(lambda: link.state()["mark"] == layout.ended_mark(1), running.said())
            wait_for(lambda: not link.state()["copying"], running.said())
        yield running


@pytest.mark.parametrize("whole", [False, pytest.param(True, marks=pytest.mark.slow)], ids=["few", "whole"])
def test_the_commands_in_their_order(tmp_path, logger, monkeypatch, capsys, whole):
    """Unless whole, `install` brings a few modules alone: all of them take half of this test's time."""
    if not whole:
        monkeypatch.setattr(install, "modules", lambda _facts: (few, True))
        few = modules_for_the_desk(("begin", "logger"))
    lines = documents.over_usb(documents.text("README.md"))
    monkeypatch.chdir(tmp_path)
    with bare(tmp_path) as board:
        for line in lines:
            words = shlex.split(line)[1:]
            if words[0] == "install":
                words.insert(1, board.port)
            elif words[0] in ("live", "fetch"):
                words.insert(1, logger.port)
            if "--page" in words:
                words += ["--no-browser", "--for", "1"]  # else it goes on until Ctrl-C
            monkeypatch.setattr("sys.stdin", io.StringIO(""))
            assert main.main(words) == 0, capsys.readouterr().err
            shown = capsys.readouterr().out
            assert shown, line
            if words[0] == "install":
                assert (board.place / "main.py").exists() and "files sent" in shown
                assert (board.place / "logger.json").read_bytes() == (tmp_path / "logger.json").read_bytes()
    assert (tmp_path / "today.html").stat().st_size > 10_000 and (tmp_path / "today" / "pulls.rpl").exists()
