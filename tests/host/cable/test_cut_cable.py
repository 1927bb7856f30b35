"""The cable pulled at every 1,000th byte, of a fetch and of an install; the default tier has a few bytes of each in
test_on_pty.py and test_install.py."""

import pytest
from truth.cable_desk import bare, desk, linked, wait_for
from truth.profile import Profile, holds
from truth.signals import Signals, Tach

import ringpull
from ringpull.cable import fetch, install
from ringpull.cable import link as links
from ringpull.cable.prompt import BoardFacts, Prompt
from ringpull.errors import CablePulled, CableSilent
from shared_math import layout

pytestmark = pytest.mark.slow

EVERY = 1000  # bytes
END_S = 6000.0


class Cut:
    """Lets so many bytes through; counts them."""

    def __init__(self, most=1 << 60):
        self.most, self.passed = most, 0

    def __call__(self, data):
        self.passed += len(data)
        return data if self.passed <= self.most else None


def files(place):
    return {str(p.relative_to(place)): p.read_bytes() for p in place.rglob("*") if p.is_file()}


def test_a_fetch(tmp_path, monkeypatch):
    monkeypatch.setattr(links, "ANSWER_S", 0.3)
    level = Profile([(0, 0.85), (END_S, 0.85)])
    made = Signals(holds([3000], END_S), Tach(2), {"lambda_1": level}, presses_s=[0.8, 1.8])
    with desk(tmp_path, made, END_S) as logger:
        with linked(logger) as link:
            wait_for(lambda: link.state()["mark"] == layout.ended_mark(1), logger.said())
            wait_for(lambda: not link.state()["copying"], logger.said())
            logger.to_pc = whole = Cut()
            fetch.fetch(link, tmp_path / "whole", fetch.MARKED)
        wanted = (tmp_path / "whole" / "pulls.rpl").read_bytes()
        at = 0
        while at < whole.passed:
            card = tmp_path / f"cut_{at}"
            with linked(logger) as link:
                logger.to_pc = Cut(at)
                with pytest.raises((CablePulled, CableSilent)) as told:
                    fetch.fetch(link, card, fetch.MARKED)
            assert len(told.value.lines().splitlines()) == 3
            logger.to_pc = None
            logger.plug()
            if (card / "pulls.rpl").exists():  # what is there are whole blocks
                half = (card / "pulls.rpl").read_bytes()
                for slot in range(0, len(half), layout.SLOT):
                    block = half[slot : slot + layout.SLOT]
                    assert not any(block) or block == wanted[slot : slot + layout.SLOT]
            with linked(logger) as link:
                fetch.fetch(link, card, fetch.MARKED)
            assert (card / "pulls.rpl").read_bytes() == wanted and ringpull.read(card).damage == []
            at += EVERY


def test_an_install(tmp_path, monkeypatch):
    """Of an update; the old firmware is whole and starts until the last step."""
    facts = BoardFacts("linux", "", (1, 28, 0), 6, "x64", 1 << 20, 1 << 20)
    names = ("begin", "logger", "shared_math/c")
    old = {name: data for name, data in install.modules(facts)[0].items() if name.startswith(names)}
    new = {name: data + b"\0" for name, data in old.items()}
    now = [old]
    monkeypatch.setattr(install, "modules", lambda _facts: (now[0], True))
    with bare(tmp_path) as board:

        def installed():
            with Prompt(board.port) as prompt:
                return install.install(prompt, prompt.facts())

        installed()
        start = (board.place / "main.py").read_bytes()
        whole = {f"ringpull_a/{name}": data for name, data in old.items()}
        now[0] = new
        at = 0
        while True:
            board.to_board = Cut(at)
            try:
                installed()
                break
            except (CablePulled, CableSilent) as told:
                assert len(told.lines().splitlines()) == 3
            board.to_board = None
            there = files(board.place)
            if there["main.py"] != start:  # its last step was taken: the new one starts
                assert all(there[f"ringpull_b/{name}"] == data for name, data in new.items())
                now[0] = new
                board.plug()
                installed()
                break
            assert {name: there.get(name) for name in whole} == whole
            board.plug()
            at += EVERY
        board.to_board = None
    assert at >= 5 * EVERY
    there = files(board.place)
    assert {name.removeprefix("ringpull_b/"): data for name, data in there.items() if name != "main.py"} == new
