"""`ringpull live` as it looks in a terminal: captured from tmux, with the real firmware on the cable."""

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from limits import until
from truth.cable_desk import desk, linked
from truth.profile import Profile, holds
from truth.signals import Signals, Tach

ROOT = Path(__file__).parents[3]
END_S = 600.0
TARGET = {"load": "map", "load_kpa": [100, 200], "lambda": [0.9, 0.8]}

pytestmark = pytest.mark.skipif(shutil.which("tmux") is None, reason="tmux is not installed: apt-get install tmux")


@pytest.fixture
def terminal(tmp_path):
    """terminal(*words): `ringpull WORDS` in a window of 100 by 24; gives what captures it."""
    own = ["tmux", "-S", str(tmp_path / "tmux"), "-f", os.devnull]
    environment = dict(os.environ, PYTHONPATH=f"{ROOT / 'host'}{os.pathsep}{ROOT}")
    for name in ("COLUMNS", "LINES"):  # of the terminal that the tests run in
        environment.pop(name, None)

    def run(*words):
        command = [*own, "new-session", "-d", "-x", "100", "-y", "24", sys.executable, "-m", "ringpull", *words]
        subprocess.run(command, check=True, env=environment, cwd=tmp_path)

        def shown():
            return subprocess.run([*own, "capture-pane", "-p"], capture_output=True, text=True).stdout

        def press(key):
            subprocess.run([*own, "send-keys", key], check=True)

        return shown, press

    yield run
    subprocess.run([*own, "kill-server"], capture_output=True)


def speeds(page):
    """The engine speed that the page shows."""
    return [float(found) for found in re.findall(r"engine_speed_rpm +(\d+\.\d)", page)]


def test_the_terminal_page(tmp_path, terminal):
    level = Profile([(0, 0.88), (END_S, 0.88)])
    pressure = Profile([(0, 150), (END_S, 150)])
    made = Signals(
        *(holds([3000], END_S), Tach(2), {"lambda_1": level, "map": pressure}), presses_s=[8.0], top={"target": TARGET}
    )
    with desk(tmp_path, made, END_S, paced=4) as logger:
        linked(logger).close()
        shown, press = terminal("live", logger.port)
        until(lambda: "pull 1 is being marked" in shown(), "the pull's line")
        lines: list[str] = []

        def whole() -> bool:  # a picture may be taken while a line is being drawn
            lines[:] = [line.rstrip() for line in shown().splitlines()]
            return any("wanted 0.850" in line and "rich ·" in line and "lean  +0.0" in line for line in lines)

        until(whole, "lambda's line")
        assert lines[0].startswith("session 1 ")
        mixture = next(line for line in lines if line.startswith(("lambda 1", "lambda_1")))
        bar = mixture.split("rich ")[1].split(" lean")[0]
        middle = bar.index("│")
        assert "█" in bar[middle:] and "█" not in bar[:middle]  # lean of it: to the right
        until(lambda: speeds(shown()) == pytest.approx([3000], rel=0.02), "the engine's speed")
        assert max(map(len, lines)) <= 100
        press("C-c")
        until(lambda: "session 1" not in shown(), "the page goes")
