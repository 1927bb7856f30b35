"""A PC on the cable of the real firmware while it records: live values, fetched pulls, and what goes wrong on
cables."""

import json
import subprocess
import sys

import numpy as np
import pytest
from truth import desk
from truth.cable_desk import desk as cable_desk
from truth.cable_desk import linked, wait_for
from truth.profile import Profile, holds
from truth.signals import Signals, Tach

import ringpull
from ringpull.cable import fetch, ports
from ringpull.cable import link as links
from ringpull.errors import CablePulled, CableSilent, LoggerRefused, NoPort, PortRefused
from shared_math import cable, layout

LAMBDA = Profile([(0, 0.80), (10, 0.90), (600, 0.90)])
END_S = 600.0
PACE = 4  # times the clock
TARGET = {"load": "map", "load_kpa": [100, 200], "lambda": [0.9, 0.8]}


def signals():
    return Signals(
        holds([3000], END_S),
        Tach(2),
        {"lambda_1": LAMBDA, "map": Profile([(0, 150), (END_S, 150)])},
        presses_s=[0.8, 1.8],
        overrides={"lambda_1": {"states": [{"name": "heating", "volts": [4.9, 5.0]}]}},
        top={"target": TARGET},
    )


@pytest.fixture(scope="module")
def logger(tmp_path_factory):
    """The firmware, one marked pull recorded and copied."""
    with cable_desk(tmp_path_factory.mktemp("cable"), signals(), END_S, paced=PACE) as running:
        with linked(running) as link:
            wait_for(lambda: link.state()["mark"] == layout.ended_mark(1), running.said())
            wait_for(lambda: not link.state()["copying"], running.said())
        yield running


@pytest.fixture
def whole(logger, tmp_path):
    """Everything, fetched."""
    with linked(logger) as link:
        fetch.fetch(link, tmp_path / "whole", fetch.EVERYTHING)
    return tmp_path / "whole"


def test_live_values_are_the_signals(logger):
    done = desk.command("live", logger.port, "--json", "--for", "1.0")
    assert done.returncode == 0, done.stderr
    lines = [json.loads(line) for line in done.stdout.splitlines()]
    assert len(lines) >= 2
    last = lines[-1]
    assert list(last["values"]) == ["engine_speed_rpm", "lambda_1", "map_kpa"]
    assert last["values"]["lambda_1"] == pytest.approx(LAMBDA(np.array([last["time_s"]]))[0], abs=0.004)
    assert last["values"]["engine_speed_rpm"] == pytest.approx(3000, rel=0.003)
    assert last["values"]["map_kpa"] == pytest.approx(150, abs=1)
    assert last["target"] == pytest.approx(0.85, abs=0.001)
    assert last["pull"] == 0 and last["lost_rows"] == 0 and last["fault"] == 0 and last["states"] == {}
    assert lines[0]["time_s"] < last["time_s"]


def test_the_last_pull_comes_alone(logger, tmp_path):
    done = desk.command("fetch", logger.port, "-o", tmp_path / "card", "--last")
    assert done.returncode == 0, done.stderr
    (session,) = ringpull.read(tmp_path / "card").sessions
    (mark,) = session.marks
    assert mark.id == 1 and mark.end_s - mark.start_s == pytest.approx(1.0, abs=0.03)
    assert session.gaps() == [] and session.start_s == 0.0 and session.duration_s >= mark.end_s + 2.9
    assert not (tmp_path / "card" / "drive.rpl").exists()
    frame = session.frame()
    truth = LAMBDA(frame["time_s"].to_numpy())
    assert np.abs(frame["lambda_1"] - truth).max() < 0.004
    assert json.loads((tmp_path / "card" / "logger.json").read_text())["target"] == TARGET


def test_everything_is_what_the_card_holds(logger, whole):
    drive = ringpull.read(whole)
    (session,) = drive.sessions
    assert drive.damage == [] and session.gaps() == [] and [mark.id for mark in session.marks] == [1]
    alone = ringpull.read(whole / "pulls.rpl").sessions[0].raw()
    drives = ringpull.read(whole / "drive.rpl").sessions[0].raw()
    same = drives[drives["row"].isin(alone["row"])].reset_index(drop=True)
    assert same.equals(alone)


def test_what_is_written_meanwhile_is_no_whole_ring(logger, tmp_path):
    """Between the state and the first block the logger writes on: that tells nothing of the slots behind."""
    with linked(logger) as link:
        now = link.state

        def old():
            state = now()
            wait_for(lambda: now()["drive"][1] != state["drive"][1], logger.said())
            return state

        link.state = old
        done = fetch.fetch(link, tmp_path / "card", fetch.EVERYTHING)
        slots, end, _ = now()["drive"]
        pulls_end = now()["pulls"][1]
    assert done.blocks <= end + pulls_end < slots // 4
    assert ringpull.read(tmp_path / "card").damage == []


def test_what_is_there_is_not_fetched_again(logger, whole):
    file = whole / "pulls.rpl"
    before = file.read_bytes()
    with linked(logger) as link:
        again = fetch.fetch(link, whole, fetch.MARKED)
        assert again.blocks == 0 and again.held > 2
        hurt = bytearray(before)
        hurt[3 * layout.SLOT : 5 * layout.SLOT] = bytes(2 * layout.SLOT)
        hurt[6 * layout.SLOT + 30] ^= 1
        file.write_bytes(hurt)
        again = fetch.fetch(link, whole, fetch.MARKED)
    assert again.blocks == 3 and file.read_bytes() == before


def test_another_cards_folder_is_refused(logger, whole):
    file = whole / "drive.rpl"
    hurt = bytearray(file.read_bytes())
    block = hurt[: layout.SLOT]
    block[layout.AT_RING] ^= 0xFF
    layout.seal(block, memoryview(block)[: layout.AT_CRC])
    hurt[: layout.SLOT] = block
    file.write_bytes(hurt)
    done = desk.command("fetch", logger.port, "-o", whole)
    assert done.returncode == 2 and "is of another card" in done.stderr
    assert file.read_bytes() == bytes(hurt)


@pytest.mark.parametrize("at", [0, 1000, 5000, 9000])
def test_a_cable_pulled_at_any_byte_loses_nothing(logger, tmp_path, at):
    """What came before stays; plugged in again, the rest comes."""
    left = [at]

    def cut(data):
        left[0] -= len(data)
        return data if left[0] > 0 else None

    with linked(logger) as link:
        logger.to_pc = cut
        with pytest.raises((CablePulled, CableSilent)) as told:
            fetch.fetch(link, tmp_path / "card", fetch.MARKED)
        assert len(told.value.lines().splitlines()) == 3
    logger.to_pc = None
    logger.plug()
    with linked(logger) as link:
        fetch.fetch(link, tmp_path / "card", fetch.MARKED)
    assert [mark.id for mark in ringpull.read(tmp_path / "card").sessions[0].marks] == [1]
    assert ringpull.read(tmp_path / "card").damage == []


def test_hurt_bytes_are_asked_for_again(logger, tmp_path, monkeypatch):
    monkeypatch.setattr(links, "ANSWER_S", 0.3)
    count = [0]

    def hurt(data):
        out = bytearray(data)
        for n in range(len(out)):
            count[0] += 1
            if not count[0] % 4001:
                out[n] ^= 0x10
        return bytes(out)

    with linked(logger) as link:
        logger.to_pc = hurt
        try:
            fetch.fetch(link, tmp_path / "card", fetch.MARKED)
        finally:
            logger.to_pc = None
    assert count[0] > 4001
    drive = ringpull.read(tmp_path / "card")
    assert drive.damage == [] and [mark.id for mark in drive.sessions[0].marks] == [1]


def test_a_pc_that_does_not_read_costs_no_row(logger):
    with linked(logger) as link:
        before = link.state()
        link.send(cable.BLOCKS, cable.DRIVE_FILE, "0", str(before["drive"][1]))
        row = before["row"]
        port = link.port
        port.close()  # nobody reads from now on
    with linked(logger) as link:
        wait_for(lambda: link.state()["row"] > row + 200, logger.said())
        words, _ = link.ask(cable.NOW)
        assert words == [cable.NOW, "0", "0"]
        assert link.state()["session"] == before["session"]


@pytest.mark.parametrize(
    "words, why",
    [
        (("nonsense",), "does not know this request"),
        (("setup", "99"), "does not understand"),
        (("setup",), "does not understand"),
        (("blocks", "d", "0", "0"), "does not understand"),
        (("blocks", "x", "0", "1"), "does not understand"),
        (("blocks", "p", "999999", "2"), "does not understand"),
        (("clock", "1"), "does not understand"),
    ],
)
def test_requests_that_mean_nothing_are_refused(logger, words, why):
    with linked(logger) as link, pytest.raises(LoggerRefused, match=why):
        link.ask(*words)


def test_a_port_in_use_is_told_with_its_user(logger):
    code = f"import serial, sys; port = serial.Serial({logger.port!r}, exclusive=True)"
    command = [sys.executable, "-c", code + "; print('open', flush=True); sys.stdin.read()"]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as other:
        assert other.stdout and other.stdout.readline() == "open\n"
        done = desk.command("live", logger.port, "--json", "--for", "0.1")
        assert other.stdin
        other.stdin.close()
    assert done.returncode == 2 and f"(process {other.pid})" in done.stderr and "is in use by python" in done.stderr


def test_wrong_ports_are_told(tmp_path, monkeypatch):
    assert "there is no port" in desk.command("fetch", tmp_path / "none").stderr
    (tmp_path / "file").write_bytes(b"")
    assert "can't be opened" in desk.command("fetch", tmp_path / "file").stderr
    from serial.tools import list_ports

    monkeypatch.setattr(list_ports, "comports", list)
    with pytest.raises(NoPort, match="no board is on USB"):
        ports.find(None)


def test_several_boards_are_listed(monkeypatch):
    from serial.tools import list_ports
    from serial.tools.list_ports_common import ListPortInfo

    found = [ListPortInfo("/dev/one"), ListPortInfo("/dev/two"), ListPortInfo("/dev/old")]
    found[0].vid = found[1].vid = 0x1234
    monkeypatch.setattr(list_ports, "comports", lambda: found)
    with pytest.raises(NoPort, match="there are 2 ports: /dev/one .*; /dev/two"):
        ports.find(None)
    monkeypatch.setattr(list_ports, "comports", lambda: found[1:])
    assert ports.find(None) == "/dev/two"


def test_missing_rights_name_the_group(tmp_path, monkeypatch):
    import serial

    def refuse(*_args, **_more):
        raise serial.SerialException(13, "Permission denied")

    monkeypatch.setattr(serial, "Serial", refuse)
    monkeypatch.setattr("grp.getgrgid", lambda _number: type("group", (), {"gr_name": "dialout"}))
    (tmp_path / "port").write_bytes(b"")
    with pytest.raises(PortRefused) as told:
        ports.open_port(str(tmp_path / "port"), 0.1)
    assert "sudo usermod -aG dialout $USER" in told.value.step


def test_silence_is_told(monkeypatch):
    import os
    import pty

    monkeypatch.setattr(links, "ANSWER_S", 0.02)
    board, there = pty.openpty()
    try:
        done = desk.command("live", os.ttyname(there), "--json")
    finally:
        os.close(board)
        os.close(there)
    assert done.returncode == 2 and "answers as a logger that records" in done.stderr


def test_a_pull_is_judged_when_it_has_ended(tmp_path):
    made = signals()
    made.presses_s = [2.5, 3.5]
    with cable_desk(tmp_path, made, END_S) as running:
        linked(running).close()
        done = desk.command("fetch", running.port, "-o", tmp_path / "card", "--watch", "--pulls", "1")
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("pull 1: ") and "Verdict: not enough data" in done.stdout


def test_a_recording_that_is_stopped_ends_whole(tmp_path):
    """`stop` answers once all rows are on the card, health included; then the firmware has ended."""
    with cable_desk(tmp_path, signals(), END_S) as running:
        with linked(running) as link:
            wait_for(lambda: link.state()["row"] > 300, running.said())
            row = link.state()["row"]
            link.stop()
        wait_for(lambda: running.process.poll() is not None, "the firmware ends")
        assert "KeyboardInterrupt" in running.said()
    image = (tmp_path / "work" / "card.img").read_bytes()
    sectors = (image[at : at + layout.SLOT] for at in range(0, len(image), layout.SLOT))
    blocks = [bytearray(one) for one in sectors if one[:2] == b"Rp" and layout.verdict(bytearray(one)) is None]
    rows = [one for one in blocks if one[layout.AT_KIND] == layout.PACKED]
    counts = [layout.get16(one, layout.AT_ROWS) & layout.ROWS_MASK for one in rows]
    ends = [layout.get32(one, layout.AT_FIRST_ROW) + count for one, count in zip(rows, counts)]
    assert max(ends) >= row
    assert any(one[layout.AT_KIND] == layout.HEALTH for one in blocks)
