"""The firmware onto MicroPython at its prompt, on a pty: installed, again, newer, half done, taken off."""

import json
from hashlib import sha256
from pathlib import Path

import pytest
from truth import desk
from truth.cable_desk import bare, modules_for_the_desk

from ringpull.cable import install
from ringpull.cable import prompt as prompts
from ringpull.cable.prompt import BoardFacts, Prompt
from ringpull.device import firmware_build
from ringpull.errors import BadUsage, CablePulled, CableSilent

CONFIG = Path(__file__).parents[3] / "demo_logs" / "v1_marked" / "logger.json"


@pytest.fixture(scope="module")
def few():
    """A few of the firmware's modules, compiled for the board on the pty."""
    return modules_for_the_desk(("begin", "logger", "panel/lamp", "shared_math/c", "drivers/sd"))


@pytest.fixture
def board(tmp_path, few, monkeypatch):
    monkeypatch.setattr(install, "modules", lambda _facts: (few, True))
    with bare(tmp_path) as running:
        yield running


def files(place):
    return {str(p.relative_to(place)): p.read_bytes() for p in place.rglob("*") if p.is_file()}


def installed(port, **more):
    with Prompt(port) as prompt:
        return install.install(prompt, prompt.facts(), **more)


@pytest.mark.slow
def test_the_firmware_is_compiled_for_the_board_in_question():
    modules, compiled = install.modules(BoardFacts("linux", "", (1, 28, 0), 6, "x64", 1 << 20, 1 << 20))
    assert compiled and modules == modules_for_the_desk()
    assert not any("desk" in name for name in modules)


@pytest.mark.parametrize("whole", [False, pytest.param(True, marks=pytest.mark.slow)], ids=["few", "whole"])
def test_the_command_brings_everything_once(board, few, monkeypatch, whole):
    modules = modules_for_the_desk() if whole else few
    monkeypatch.setattr(install, "modules", lambda _facts: (modules, True))
    assert "begin.mpy" in modules and "shared_math/cable.mpy" in modules
    (board.place / "main.py").write_text("print('mine')\n")
    done = desk.command("install", board.port, "--config", CONFIG, "--json")
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["sent"] == len(modules)
    there = files(board.place)
    assert {name: there[f"ringpull_a/{name}"] for name in modules} == modules
    assert there["main_before.py"] == b"print('mine')\n" and there["logger.json"] == CONFIG.read_bytes()
    assert b'"ringpull_a"' in there["main.py"] and len(there) == len(modules) + 3
    again = desk.command("install", board.port, "--json")
    assert json.loads(again.stdout)["kept"] == len(modules) and files(board.place) == there
    gone = desk.command("install", board.port, "--remove")
    assert gone.returncode == 0, gone.stderr
    assert files(board.place) == {"main.py": b"print('mine')\n", "logger.json": CONFIG.read_bytes()}


def test_an_update_sends_what_changed_alone(board, few, monkeypatch):
    installed(board.port)
    newer = dict(few)
    newer["logger.mpy"] += b"\0"
    del newer["drivers/sdhost.mpy"]
    newer["drivers/other.mpy"] = b"new"
    monkeypatch.setattr(install, "modules", lambda _facts: (newer, True))
    done = installed(board.port)
    assert (done.sent, done.copied, done.kept) == (2, len(newer) - 2, 0)
    there = files(board.place)
    assert set(there) == {f"ringpull_b/{name}" for name in newer} | {"main.py"}
    assert all(there[f"ringpull_b/{name}"] == data for name, data in newer.items())
    assert b'"ringpull_b"' in there["main.py"]


def test_the_old_firmware_starts_until_the_last_step(board, few, monkeypatch):
    """Pulled out at several bytes of an update; then given again."""
    installed(board.port)
    start = (board.place / "main.py").read_bytes()
    newer = {name: data + b"\0" for name, data in few.items()}
    monkeypatch.setattr(install, "modules", lambda _facts: (newer, True))
    size = sum(map(len, newer.values()))
    for at in (400, 3000, size // 2, size):
        left = [at]

        def cut(data, left=left):
            left[0] -= len(data)
            return data if left[0] > 0 else None

        board.to_board = cut
        with pytest.raises((CablePulled, CableSilent)) as told:
            installed(board.port)
        assert len(told.value.lines().splitlines()) == 3
        board.to_board = None
        assert (board.place / "main.py").read_bytes() == start
        there = files(board.place)
        assert all(there[f"ringpull_a/{name}"] == data for name, data in few.items())
        board.plug()
    installed(board.port)
    there = files(board.place)
    assert {name.removeprefix("ringpull_b/"): data for name, data in there.items() if name != "main.py"} == newer


def test_a_file_hurt_on_the_board_is_sent_again(board, few):
    installed(board.port)
    (board.place / "ringpull_a" / "logger.mpy").write_bytes(b"worn")
    done = installed(board.port)
    assert done.sent == 1 and done.copied == len(few) - 1
    told = (board.place / "ringpull_b" / "logger.mpy").read_bytes()
    assert sha256(told).digest() == sha256(few["logger.mpy"]).digest()


@pytest.mark.parametrize(
    "changed, said", [({"version": (1, 20, 0)}, "MicroPython is 1.20.0"), ({"heap": 60000}, "58 kB of memory")]
)
def test_a_board_that_does_not_fit_is_told(changed, said):
    usual = {"platform": "rp2", "machine": "", "version": (1, 28, 0), "mpy": 6, "arch": "armv6m", "heap": 200000}
    with pytest.raises(BadUsage, match=said):
        install.fits(BoardFacts(**usual | {"flash_free": 1 << 20} | changed))


def test_without_the_compiler_sources_go_onto_the_board(monkeypatch):
    monkeypatch.setattr(firmware_build, "compiler", lambda: None)
    modules, compiled = install.modules(BoardFacts("rp2", "", (1, 28, 0), 6, "armv6m", 1 << 18, 1 << 20))
    assert not compiled and modules["begin.py"].startswith(b'"""Starts the logger') and "main.py" not in modules


def test_a_bad_configuration_touches_nothing(board, tmp_path):
    (tmp_path / "logger.json").write_text("{")
    done = desk.command("install", board.port, "--config", tmp_path / "logger.json")
    assert done.returncode == 2 and "logger.json is not a configuration" in done.stderr
    assert files(board.place) == {}


def test_a_board_without_micropython_is_told(tmp_path, monkeypatch):
    import os
    import pty

    from ringpull.cable import link as links

    monkeypatch.setattr(links, "ANSWER_S", 0.02)
    monkeypatch.setattr(prompts, "PROMPT_S", 0.1)
    silent, there = pty.openpty()
    try:
        done = desk.command("install", os.ttyname(there))
    finally:
        os.close(silent)
        os.close(there)
    assert done.returncode == 2 and "answers as MicroPython" in done.stderr
    assert "bring MicroPython onto the board" in done.stderr
