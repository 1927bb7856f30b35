"""What goes wrong on cables and boards, provoked: each its own three lines, and nothing half written."""

import os
import pty
import random
import threading
import time
from contextlib import contextmanager
from types import SimpleNamespace

import pytest
from limits import HANG_S
from truth import desk
from truth.cable_desk import bare, linked, wait_for
from truth.cable_desk import desk as cable_desk
from truth.profile import Profile, holds
from truth.signals import Signals, Tach

import ringpull
from ringpull.cable import fetch, ports
from ringpull.cable import link as links
from ringpull.cable.newest import Newest
from ringpull.cli.commands import install, live
from ringpull.errors import CablePulled, CableSilent, LoggerRefused, PortRefused
from shared_math import cable, layout

END_S = 600.0
PACE = 8  # times the clock


class Held(Signals):
    """The button is held down once, from `held_s` on."""

    held_s = (1.5, 3.3)

    def button_events(self):
        return sorted([*super().button_events(), (self.held_s[0], "press"), (self.held_s[1], "release")])


def signals(kind=Signals, presses_s=(0.8, 1.8)):
    level = Profile([(0, 0.85), (END_S, 0.85)])
    return kind(holds([3000], END_S), Tach(2), {"lambda_1": level}, presses_s=list(presses_s))


@contextmanager
def recorded(folder):
    """The firmware, one marked pull recorded and copied."""
    with cable_desk(folder, signals(), END_S, paced=PACE) as running:
        with linked(running) as link:
            wait_for(lambda: link.state()["mark"] == layout.ended_mark(1), running.said())
            wait_for(lambda: not link.state()["copying"], running.said())
        yield running


@pytest.fixture(scope="module")
def logger(tmp_path_factory):
    """One for all that leave it as it is."""
    with recorded(tmp_path_factory.mktemp("logger")) as running:
        yield running


@pytest.fixture
def impatient(monkeypatch):
    """Silence is noticed soon."""
    monkeypatch.setattr(links, "ANSWER_S", 0.3)


@pytest.fixture
def hasty(monkeypatch):
    """The same where nothing has to start."""
    monkeypatch.setattr(links, "ANSWER_S", 0.1)


class Talker(threading.Thread):
    """Another program on a pty: `says` gets what it was sent and gives what it answers."""

    def __init__(self, says):
        super().__init__(daemon=True)
        self.board, self.there = pty.openpty()
        import tty

        for end in (self.board, self.there):
            tty.setraw(end)
        self.port = os.ttyname(self.there)
        self.says = says
        self.over = False
        self.start()

    def run(self):
        import select

        while not self.over:
            if select.select([self.board], [], [], 0.05)[0]:
                os.write(self.board, self.says(os.read(self.board, 4096)))

    def end(self):
        self.over = True
        self.join(HANG_S)
        os.close(self.board)
        os.close(self.there)


@pytest.fixture
def talker():
    made = []

    def talk(says):
        made.append(Talker(says))
        return made[-1].port

    yield talk
    for one in made:
        one.end()


def lines_of(command, *words):
    done = desk.command(command, *words)
    assert done.returncode == 2 and "Traceback" not in done.stderr
    lines = [line for line in done.stderr.splitlines() if not line.startswith("Waiting")]
    assert len(lines) == 3, done.stderr
    return done.stderr


@pytest.mark.skipif(os.name != "posix" or os.geteuid() != 0, reason="only root can become somebody without rights")
def test_a_port_without_rights_names_its_group():
    """A real refusal of the system."""
    import grp

    group = next(one for one in grp.getgrall() if one.gr_name in ("dialout", "tty", "uucp"))
    board, there = pty.openpty()
    try:
        os.chown(os.ttyname(there), 0, group.gr_gid)
        os.chmod(os.ttyname(there), 0o660)
        os.seteuid(65534)
        try:
            with pytest.raises(PortRefused) as told:
                ports.open_port(os.ttyname(there), 0.1)
        finally:
            os.seteuid(0)
    finally:
        os.close(board)
        os.close(there)
    assert "may not be used by this user" in told.value.what and group.gr_name in told.value.cause
    assert f"sudo usermod -aG {group.gr_name} $USER" in told.value.step


@pytest.mark.parametrize("words", [("-o", "card"), ("--no-browser",)])
def test_what_belongs_to_the_page_is_refused_without_it(words):
    assert "go with --page" in lines_of("live", "nowhere", *words)


def test_micropython_at_its_prompt(tmp_path, impatient):
    with bare(tmp_path) as running:
        said = lines_of("live", running.port, "--json")
    assert "is at MicroPython's prompt: no logger runs on it" in said and "ringpull install" in said


def test_another_program_on_the_board(talker, hasty):
    said = lines_of("fetch", talker(lambda _data: b"temperature 21.4\r\n\x1bweird"))
    assert "is no logger" in said and 'it says "?weird' in said.replace("temperature 21.4", "")


def test_garbage_is_told_and_nothing_hangs(talker, hasty):
    noise = random.Random(5)
    said = lines_of("live", talker(lambda _data: noise.randbytes(700)), "--json")
    assert "is no logger" in said


@pytest.mark.parametrize("version, step", [(0, "bring the logger this program's firmware"), (2, "update this program")])
def test_firmware_of_another_version(talker, version, step):
    def older(data):
        told = cable.read_line(data)
        assert told
        state = b'{"cable": %d}' % version
        return cable.head(told[0], (cable.STATE,), state) + state.ljust(cable.filled(len(state)))

    said = lines_of("live", talker(older), "--json")
    assert f"speaks version {version} of the cable's lines" in said and step in said


def test_firmware_that_does_not_know_a_request(talker):
    def older(data):
        told = cable.read_line(data)
        return cable.head(told[0], (cable.REFUSED, "unknown"), b"") if told else b""

    assert "its firmware is older" in lines_of("fetch", talker(older))


def test_firmware_from_before_the_cable(talker, hasty):
    said = lines_of("live", talker(lambda _data: b""), "--json")
    assert "answers as a logger that records" in said and "its firmware is older" in said


def test_a_logger_that_was_stopped_says_so(tmp_path):
    """After a long press; at a press it goes on, and the PC may also ask for the prompt."""
    with cable_desk(tmp_path, signals(Held, []), END_S, paced=PACE) as running:
        link = linked(running)

        def stopped():
            try:
                link.state()
            except LoggerRefused as refused:
                return "has stopped" in refused.what
            return False

        wait_for(stopped, running.said())
        for words in ((cable.NOW,), (cable.BLOCKS, "d", "0", "1"), ("nonsense",)):
            with pytest.raises(LoggerRefused, match="it does not record") as told:
                link.ask(*words)
            assert "press the button once" in told.value.step
        link.close()
        assert "has stopped" in lines_of("live", running.port, "--json")
        install._end_recording(running.port)
        wait_for(lambda: running.process.poll() is not None, "the firmware ends")


@pytest.mark.slow
def test_a_stopped_logger_goes_on_at_a_press(tmp_path):
    more = {"paced": PACE, "heap": "320k"}  # a board resets itself here, the desk goes on with the heap that it has
    with cable_desk(tmp_path, signals(Held, [9.0]), END_S, **more) as running:
        with linked(running) as link:
            first = link.state()["session"]
            wait_for(lambda: _session(link) == first + 1, running.said())


def _session(link):
    try:
        return link.state()["session"]
    except LoggerRefused:
        return 0


@pytest.mark.slow
def test_a_board_that_resets_during_a_fetch(tmp_path, impatient):
    """Its port stays, as on a board with a USB chip of its own: silence, and what came is kept."""
    with recorded(tmp_path / "logger") as logger:
        _reset_during_a_fetch(logger, tmp_path)


def _reset_during_a_fetch(logger, tmp_path):
    begun = threading.Event()

    def first(data):
        begun.set()
        return data

    logger.to_pc = first
    threading.Thread(target=lambda: (begun.wait(HANG_S), logger.process.kill()), daemon=True).start()
    with links.Link(ports.open_port(logger.port, links.PIECE_S)) as link, pytest.raises(CableSilent) as told:
        while True:
            fetch.fetch(link, tmp_path / "card", fetch.EVERYTHING)
    assert len(told.value.lines().splitlines()) == 3
    logger.to_pc = None
    logger.reset()
    with linked(logger) as link:
        assert link.state()["session"] == 2

        def both_there():  # the new session's first rows are soon written
            fetch.fetch(link, tmp_path / "card", fetch.EVERYTHING)
            return [one.id for one in ringpull.read(tmp_path / "card").sessions] == [1, 2]

        wait_for(both_there, "no rows of the second session")
    drive = ringpull.read(tmp_path / "card")
    assert drive.damage == []
    assert [mark.id for mark in drive.sessions[0].marks] == [1]


class Enough(Exception):
    """Seen all that was waited for."""


def test_live_goes_on_after_a_reset(tmp_path, impatient, monkeypatch):
    monkeypatch.setattr(links, "TRIES", 1000)  # however slow the start is
    with recorded(tmp_path) as logger, linked(logger) as link:
        sessions = []

        def show(newest, now):
            sessions.append(newest.session)
            if newest.session == 2 and now.values["lambda_1"] == pytest.approx(0.85, abs=0.01):
                raise Enough
            if len(sessions) == 3:
                logger.reset()

        with pytest.raises(Enough):
            live._go(Newest(link), SimpleNamespace(for_s=None, hz=20), show)
    assert sessions[:3] == [1, 1, 1] and set(sessions) == {1, 2}


def test_two_programs_on_one_port(logger, tmp_path, impatient):
    """Another one, from before, takes some of the answers: asked for again, whole in the end or told."""
    other = os.open(logger.port, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
    taking = threading.Event()

    def steal():
        while not taking.is_set():
            try:
                os.read(other, 100)
            except BlockingIOError:
                pass
            taking.wait(0.02)

    thief = threading.Thread(target=steal, daemon=True)
    thief.start()
    try:
        with links.Link(ports.open_port(logger.port, links.PIECE_S)) as link:
            fetch.fetch(link, tmp_path / "card", fetch.MARKED)
    except (CableSilent, CablePulled) as told:
        assert len(told.lines().splitlines()) == 3
    finally:
        taking.set()
        thief.join(HANG_S)
        os.close(other)
    with linked(logger) as link:
        fetch.fetch(link, tmp_path / "card", fetch.MARKED)
    drive = ringpull.read(tmp_path / "card")
    assert drive.damage == [] and [mark.id for mark in drive.sessions[0].marks] == [1]


def test_a_reader_that_stalls_gets_all_in_the_end(logger, tmp_path, impatient):
    """For longer than an answer is waited for, in the middle of a fetch."""
    count = [0]

    def stall(data):
        count[0] += 1
        if count[0] == 5:
            time.sleep(2 * links.ANSWER_S)
        return data

    with linked(logger) as link:
        before = link.state()
        logger.to_pc = stall
        done = fetch.fetch(link, tmp_path / "card", fetch.MARKED)
        logger.to_pc = None
        words, _ = link.ask(cable.NOW)
        assert words == [cable.NOW, "0", "0"] and link.state()["session"] == before["session"]
    assert count[0] > 5 and done.blocks > 2
    assert ringpull.read(tmp_path / "card").damage == []


def test_noise_both_ways_changes_nothing(logger, tmp_path, impatient):
    """Bytes that nobody sent, between and inside requests and answers."""
    noise = random.Random(7)

    def noisy(data):
        if noise.random() < 0.05:
            at = noise.randrange(len(data) + 1)
            more = bytes(byte for byte in noise.randbytes(9) if byte != 3)
            return data[:at] + more + data[at:]
        return data

    with linked(logger) as link:
        logger.to_pc = logger.to_board = noisy
        try:
            fetch.fetch(link, tmp_path / "card", fetch.MARKED)
        finally:
            logger.to_pc = logger.to_board = None
    drive = ringpull.read(tmp_path / "card")
    assert drive.damage == [] and [mark.id for mark in drive.sessions[0].marks] == [1]


def test_a_card_of_another_ring_is_never_mixed_in(logger, tmp_path):
    """The card changes between two answers: blocks of the other one are left, and it is told."""
    with linked(logger) as link:
        real = link.state()
        asked = []

        def state():
            asked.append(1)
            return real if len(asked) == 1 else real | {"ring": "00c0ffee"}

        link.state = state
        with pytest.raises(LoggerRefused, match="card was changed"):
            fetch.fetch(link, tmp_path / "card", fetch.MARKED)
