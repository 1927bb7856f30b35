"""Over the emulated board's own USB serial: firmware brought onto a bare board, values and a whole fetch beside twelve
inputs at 200 Hz without a lost row. Minutes each; the board's time is never ahead of this machine's."""

import json
import time

import pytest
from truth import desk

pytestmark = pytest.mark.slow

LIVE_S = 30.0
RATE_HZ = 200
STARTED_S = 300.0  # of this machine's time, however slow the emulator runs on it
PATIENCE = 20


@pytest.fixture
def board(uf2, tmp_path, monkeypatch):
    """What makes a board on a cable; it ends with the test. Its time may go several times slower than this machine's:
    what waits for it is told to wait longer."""
    from ringpull.cable import bench, link, prompt, selftest
    from ringpull.cli.commands import install

    monkeypatch.setattr(link, "ANSWER_S", PATIENCE * link.ANSWER_S)
    monkeypatch.setattr(prompt, "PROMPT_S", PATIENCE * prompt.PROMPT_S)
    monkeypatch.setattr(install, "START_S", PATIENCE * install.START_S)
    for module, name in ((bench, "RECORDS_S"), (bench, "MORE_S"), (selftest, "CARD_S"), (link, "STOP_S")):
        monkeypatch.setattr(module, name, PATIENCE * getattr(module, name))
    import second_rig
    from second_cable import BoardOnCable

    lacking = second_rig.lacking()
    if lacking:
        pytest.skip(lacking)
    made = []

    def make(story, installed=True):
        made.append(BoardOnCable(uf2, story, tmp_path, installed))
        return made[-1]

    yield make
    for one in made:
        if not one.ended.is_set():
            one.end()


def ringpull(*words):
    """What a command printed."""
    done = desk.command(*words)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def state(port):
    from ringpull.cable import link as links

    with links.connect(port) as link:
        return link.state()


def recording(port):
    """Waits for a logger that answers, and its state."""
    from ringpull.errors import RingpullError

    until = time.monotonic() + STARTED_S
    while True:
        try:
            return state(port)
        except RingpullError:
            assert time.monotonic() < until


def test_live_at_10_hz_and_a_whole_fetch_lose_no_row(board, tmp_path):
    import second_stories
    from second_rig import Story

    import ringpull as reader

    config = second_stories.config(twelve=True)
    never = (1e9, 1e9)
    story = Story(config, seconds=3600, tach_hz=800.0, lean_s=never, finish=False, presses_s=[(8, 8.1), (14, 14.1)])
    wired = board(story)
    recording(wired.port)
    lines = [json.loads(line) for line in ringpull("live", wired.port, "--json", "--for", LIVE_S).splitlines()]
    span_s, steps = lines[-1]["time_s"] - lines[0]["time_s"], len(lines) - 1
    before = state(wired.port)
    fetched = json.loads(ringpull("fetch", wired.port, "-o", tmp_path / "got", "--all", "--json"))
    after = state(wired.port)
    seen = wired.end()
    took_s = (after["row"] - before["row"]) / RATE_HZ
    print(f"live: {steps} steps in {span_s:.1f} s of the board's time")
    print(f"fetch: {fetched['blocks']} blocks in {took_s:.1f} s of it")
    print(f"{seen['emulated_s']:.0f} s of the board's time took {seen['real_s']:.0f} s of this machine's")
    assert steps / span_s >= 9.5  # the emulator may run slower than this machine's clock, never faster
    assert not lines[-1]["lost_rows"] and not seen["resets"]
    (session,) = reader.read(tmp_path / "got").sessions
    assert session.lost_rows == 0 and session.gaps() == []
    assert session.rows > RATE_HZ * span_s
    assert session.rows / RATE_HZ >= lines[-1]["time_s"] - 2  # what was recorded until fetch came is there


def test_a_bare_board_gets_its_firmware_and_records(board):
    import second_stories
    from second_rig import Story

    story = Story(second_stories.config(), seconds=3600, lean_s=(1e9, 1e9), finish=False)
    wired = board(story, installed=False)
    first = json.loads(ringpull("install", wired.port, "--json"))
    assert first["sent"] > 50 and first["records"]
    assert recording(wired.port)["row"] > 0
    again = json.loads(ringpull("install", wired.port, "--json"))
    assert again["kept"] == first["sent"] and not again["sent"] and again["records"]


def test_the_self_test_over_usb(board):
    """Of what the rig has: its signals are without noise, and its time is slower than the PC's."""
    import second_stories
    from second_rig import Story

    wired = board(Story(second_stories.config(), seconds=3600, lean_s=(1e9, 1e9), finish=False))
    first = recording(wired.port)
    done = desk.command("selftest", wired.port, "--no-questions", "--json")
    told = json.loads(done.stdout.splitlines()[0])
    found = {one["part"]: one for one in told["parts"]}
    assert found["card"]["result"] == found["memory"]["result"] == "pass" and "512 of 512" in found["card"]["figure"]
    assert sum(one["writes"] for one in told["writes"]) == 512 and told["records"]
    assert "it stands still" in found["input a0 (lambda_1)"]["figure"]
    assert recording(wired.port)["session"] == first["session"] + 1
