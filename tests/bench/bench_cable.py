"""The cable, with the real firmware on a pty: what `live` costs, how fast `fetch` is beside mpremote's copy, and an
install that has nothing to do."""

from __future__ import annotations

import os
import pty
import shutil
import struct
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from truth.cable_desk import Bare, bare, desk, linked
from truth.profile import Profile, holds
from truth.signals import Signals, Tach

from ringpull.cable import fetch, install
from ringpull.cable.prompt import Prompt
from shared_math import layout

ROOT = Path(__file__).resolve().parents[2]
RESULTS = Path(__file__).with_name("CABLE_RESULTS.md")
END_S = 600.0
SHORT_S, LONG_S = 2.0, 22.0  # of live: the difference leaves out the start
RECORD_S = 120.0  # of the drive that is fetched
TWELVE = ("lambda_1", "map", "throttle", "fuel_pressure", "battery", *(f"more_{n}" for n in range(6)))


def made() -> Signals:
    """Twelve channels at 200 Hz, all of them moving."""
    moving = {"lambda_1": (0.8, 0.95), "map": (90, 190), "battery": (13, 14)}
    ends = {name: moving.get(name, (10, 90)) for name in TWELVE}
    profiles = {
        name: Profile([(t, ends[name][n % 2]) for n, t in enumerate(range(0, int(END_S) + 1, 2))]) for name in TWELVE
    }
    target = {"load": "map", "load_kpa": [50, 200], "lambda": [1.0, 0.85]}
    return Signals(holds([3000, 6000], END_S), Tach(2), profiles, top={"target": target})


def cpu_s(words: list[str], screen: bool) -> float:
    """Seconds of a processor that `ringpull WORDS` takes, its output on a terminal of its own or thrown away."""
    command = [sys.executable, "-m", "ringpull", *words]
    environment = dict(os.environ, PYTHONPATH=f"{ROOT / 'host'}{os.pathsep}{ROOT}", TERM="xterm-256color")
    board, there = pty.openpty()
    _size(there)
    threading.Thread(target=_drain, args=(board,), daemon=True).start()
    ends = dict.fromkeys(("stdin", "stdout", "stderr"), there) if screen else {"stdout": subprocess.DEVNULL}
    process = subprocess.Popen(command, env=environment, **ends)
    _, status, used = os.wait4(process.pid, 0)
    os.close(there)
    assert status == 0, words
    return used.ru_utime + used.ru_stime


def _size(there: int) -> None:
    import fcntl
    import termios

    fcntl.ioctl(there, termios.TIOCSWINSZ, struct.pack("HHHH", 40, 120, 0, 0))


def _drain(board: int) -> None:
    try:
        while os.read(board, 1 << 16):
            pass
    except OSError:
        pass


@contextmanager
def recorded(folder: Path) -> Iterator:
    """The firmware, recording; some minutes of it on the card."""
    with desk(folder, made(), END_S, paced=20) as logger:
        with linked(logger) as link:
            while link.state()["row"] < RECORD_S * 200:
                time.sleep(0.2)
        logger.reset(paced=1)
        linked(logger).close()
        yield logger


def share(port: str, more: list[str], screen: bool) -> float:
    """Of one core, in per cent, while it runs."""
    words = ["live", port, *more, "--for"]
    return 100 * (cpu_s([*words, str(LONG_S)], screen) - cpu_s([*words, str(SHORT_S)], screen)) / (LONG_S - SHORT_S)


def copy_rate(board: Bare, size: int) -> float:
    """Bytes per second that mpremote copies off a board; without its start, by two sizes."""
    took = {}
    for part in (size // 8, size):
        (board.place / f"blob_{part}").write_bytes(os.urandom(part))
        words = ["connect", board.port, "resume", "fs", "cp", f":blob_{part}", os.devnull]
        best = []
        for _ in range(3):
            began = time.perf_counter()
            subprocess.run([sys.executable, "-m", "mpremote", *words], check=True, stdout=subprocess.DEVNULL)
            best.append(time.perf_counter() - began)
        took[part] = min(best)
    return (size - size // 8) / (took[size] - took[size // 8])


def verdict_s(folder: Path) -> float:
    """Seconds from the end of a pull of 10 s to its verdict on the terminal, by `fetch --watch`."""
    pull = made()
    pull.presses_s = [6.0, 16.0]
    with desk(folder, pull, END_S) as logger:
        with linked(logger) as link:
            ended = time.monotonic() - link.state()["row"] / 200 + pull.presses_s[1]
        command = [sys.executable, "-m", "ringpull", "fetch", logger.port, "-o", "card", "--watch", "--pulls", "1"]
        environment = dict(os.environ, PYTHONPATH=f"{ROOT / 'host'}{os.pathsep}{ROOT}")
        with subprocess.Popen(command, cwd=folder, env=environment, stdout=subprocess.PIPE, text=True) as process:
            assert process.stdout
            for line in process.stdout:
                if line.startswith("Verdict"):
                    return time.monotonic() - ended
    raise AssertionError("no verdict came")


def rows() -> Iterator[tuple[str, float, str, str]]:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with desk(folder / "live", made(), END_S) as logger:
            linked(logger).close()
            for what, more, screen in (
                ("live, terminal page", [], True),
                ("live --json", ["--json"], False),
                ("live --page, no browser open", ["--page", "--no-browser", "-o", str(folder / "page")], False),
            ):
                yield what, share(logger.port, more, screen), "% of a core", "limit 5; 10 Hz, 12 channels"
        took = verdict_s(folder / "watch")
        yield "fetch --watch, verdict after the mark's end", took, "s", "limit 5; 3 s belong to the pull"
        with recorded(folder / "fetch") as logger:
            rates = []
            with linked(logger) as link:
                for n in range(3):
                    began = time.perf_counter()
                    done = fetch.fetch(link, folder / f"card_{n}", fetch.EVERYTHING)
                    rates.append(done.blocks * layout.SLOT / (time.perf_counter() - began))
                    size = done.blocks * layout.SLOT
                lost = link.ask("now")[0][1]
        with bare(folder / "bare") as board:
            copied = copy_rate(board, size)
        yield "fetch --all while it records", max(rates) / 1024, "KiB/s", f"{size // 1024} KiB, {lost} rows lost"
        yield "mpremote fs cp of as much, board idle", copied / 1024, "KiB/s", "through the same relay of ptys"
        yield "fetch beside mpremote", 100 * max(rates) / copied, "%", "at least 80"
        with bare(folder / "install") as board:
            _install(board.port)
            began = time.perf_counter()
            _install(board.port)
            yield "install, board unchanged", time.perf_counter() - began, "s", "limit 5"
        shutil.rmtree(folder, ignore_errors=True)


def _install(port: str) -> None:
    with Prompt(port) as prompt:
        install.install(prompt, prompt.facts())
