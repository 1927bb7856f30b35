"""The real firmware on MicroPython's unix port, in the clock's time, its console on a pty: what a PC meets on USB."""

from __future__ import annotations

import contextlib
import json
import os
import pty
import select
import shutil
import subprocess
import tempfile
import threading
import time
import tty
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path

from limits import HANG_S

from ringpull.cable import link as links
from ringpull.cable import ports
from ringpull.cable.install import BEGIN
from ringpull.device import firmware_build
from ringpull.dryrun import run, signals
from ringpull.errors import CableSilent
from ringpull.files.firmware_sources import firmware_dir, shared_math_dir
from truth.profile import holds
from truth.signals import Signals, Tach


class Wire:
    """port: for a PC. to_pc, to_board: functions that get bytes on their way and give what arrives in their place, None
    where the cable is pulled then; or None."""

    def __init__(self) -> None:
        self.to_pc: Callable[[bytes], bytes | None] | None = None
        self.to_board: Callable[[bytes], bytes | None] | None = None
        self.board, self.firmware = pty.openpty()
        for end in (self.board, self.firmware):
            tty.setraw(end)
        self._carrying: list[threading.Thread] = []
        self._plugged = threading.Event()
        self.plug()

    def plug(self) -> None:
        """The cable goes in at the PC's side: a new port."""
        self.pull()
        pc, there = pty.openpty()
        for end in (pc, there):
            tty.setraw(end)
        self.port = os.ttyname(there)
        self._plugged = threading.Event()
        self._plugged.set()
        # Closed by the last to let go: a closed end's number is soon another's, whose bytes would be taken
        held = threading.Barrier(2, action=lambda: [os.close(end) for end in (pc, there)])
        ways = ((pc, self.board, False), (self.board, pc, True))
        self._carrying = [
            threading.Thread(target=self._carry, args=(*way, self._plugged, held), daemon=True) for way in ways
        ]
        for one in self._carrying:
            one.start()

    def _carry(self, source: int, target: int, back: bool, plugged: threading.Event, held: threading.Barrier) -> None:
        with contextlib.suppress(OSError, ValueError):
            while plugged.is_set():
                if not select.select([source], [], [], 0.05)[0]:
                    continue
                data = os.read(source, 4096)
                meddle = self.to_pc if back else self.to_board
                meddled = meddle(data) if meddle else data
                if meddled is None:
                    plugged.clear()
                    break
                while meddled and plugged.is_set():
                    if select.select([], [target], [], 0.05)[1]:
                        meddled = meddled[os.write(target, meddled[:256]) :]
        held.wait()

    def pull(self) -> None:
        """The cable comes out at the PC's side."""
        self._plugged.clear()
        for one in self._carrying:
            one.join(HANG_S)

    def close(self) -> None:
        """No more of it."""
        self.pull()
        for end in (self.board, self.firmware):
            os.close(end)


class Desk(Wire):
    """The firmware, recording. process: of it."""

    def __init__(self, work: Path, files: list[Path], end_s: float, heap: str = "", **more) -> None:
        settings, text = run.load_config(files[0])
        compiled = signals.compile_signals(settings, *files[1:])
        job_path = run.write_job(work, settings, compiled, files[0], 1, 0, None)
        job = json.loads(job_path.read_text())
        super().__init__()
        job.update({"console": os.ttyname(self.firmware), "paced": True, "end_us": int(end_s * 1e6), **more})
        job_path.write_text(json.dumps(job))
        shutil.copytree(shared_math_dir(), work / "shared_math", ignore=shutil.ignore_patterns("__pycache__"))
        environment = dict(
            os.environ,
            RINGPULL_DESK=str(job_path),
            RINGPULL_BENCH="1" if "source" in more else "",
            MICROPYPATH=os.pathsep.join((str(work), ".frozen")),
        )
        self.again = 0  # starts after a reset by itself
        self._job_path = job_path
        heap = heap or run.heap_for(text)
        command = [run.find_micropython(), "-X", f"heapsize={heap}", str(firmware_dir() / "main.py")]
        self.errors = work / "errors.txt"
        self._start = partial(subprocess.Popen, command, cwd=work, env=environment)
        self._ended = False
        self._begin()

    def _begin(self) -> None:
        self._run()
        self._watching = threading.Thread(target=self._watch, daemon=True)
        self._watching.start()

    def _run(self) -> None:
        with self.errors.open("a") as errors:
            self.process = self._start(stdout=errors, stderr=errors)

    def _watch(self) -> None:
        """A reset starts it anew, on the card as it is."""
        while self.process.wait() == run.RESET and not self._ended:
            self._change_job({"held": 0})
            self._run()
            self.again += 1

    def _change_job(self, more: dict) -> None:
        """The card stays as it is."""
        job = json.loads(self._job_path.read_text())
        self._job_path.write_text(json.dumps(job | {"format": False, "config": None} | more))

    def reset(self, **more) -> None:
        """The board starts anew in the middle of whatever it does. more: of the job."""
        self.process.kill()
        self._watching.join(HANG_S)
        self._change_job(more)
        self._begin()

    def end(self) -> None:
        """Stop the firmware, as power that goes."""
        self._ended = True
        until = time.monotonic() + HANG_S
        while self._watching.is_alive():  # a reset of that moment may have started it once more
            assert time.monotonic() < until, "the firmware does not end"
            self.process.kill()
            self._watching.join(0.05)
        self.close()

    def said(self) -> str:
        """What the firmware printed."""
        return self.errors.read_text()


class Bare(Wire):
    """MicroPython at its prompt, nothing on it. place: the folder that is its flash."""

    def __init__(self, place: Path) -> None:
        super().__init__()
        self.place = place
        ends = dict.fromkeys(("stdin", "stdout", "stderr"), self.firmware)
        heard = bytearray()
        self.to_pc = lambda data: heard.extend(data) or data
        self.process = subprocess.Popen([run.find_micropython()], cwd=place, start_new_session=True, **ends)
        wait_for(lambda: b">>>" in heard, "no prompt")  # what comes before it is thrown away as it sets up its terminal
        self.to_pc = None

    def end(self) -> None:
        """Take its power away."""
        self.process.kill()
        self.process.wait(HANG_S)
        self.close()


def modules_for_the_desk(first_letters: str | tuple[str, ...] = "") -> dict[str, bytes]:
    """The firmware as `ringpull install` compiles it for a bare board here, or those of its modules whose path begins
    so: compiling and bringing all of them takes a while."""
    out = {}
    with tempfile.TemporaryDirectory() as folder:
        for source, path in firmware_build.sources().items():
            name = (f"{BEGIN}.py" if source == firmware_build.START else source).removesuffix(".py") + ".mpy"
            if name.startswith(first_letters):
                target = Path(folder) / "module.mpy"
                firmware_build.compile_one(path, name, "x64", target)
                out[name] = target.read_bytes()
    return out


@contextmanager
def bare(folder: Path) -> Iterator[Bare]:
    """MicroPython at its prompt."""
    place = folder / "flash"
    place.mkdir(parents=True)
    running = Bare(place)
    try:
        yield running
    finally:
        running.end()


@contextmanager
def desk(folder: Path, made: Signals, end_s: float, **more) -> Iterator[Desk]:
    """The firmware on these signals, recording; with power for `end_s` of the clock's time at most. more: heap, as
    MicroPython takes it, and what else stands in the job."""
    made.write(folder)
    files = [folder / name for name in ("logger.json", "volts.csv", "edges.csv", "buttons.csv")]
    work = folder / "work"
    (work / "out").mkdir(parents=True)
    running = Desk(work, files, end_s, **more)
    try:
        yield running
    finally:
        running.end()


@contextmanager
def bench_desk(
    folder: Path, made: Signals | None = None, starts: bool = True, first: dict[str, int] | None = None, **more
) -> Iterator[Desk]:
    """The firmware recording, its analog inputs fed by the file `source`: {channel: 65536ths of the converter's range},
    `first` at the start. starts: wait until it records. more: for the job, see firmware/boards/desk_bench.py.

    config: a copy of its logger.json, as the PC keeps one.
    """
    made = made or Signals(holds([0], 600.0), Tach(2), {"lambda_1": holds([1.0], 600.0)})
    source = folder / "source.json"
    source.write_text(json.dumps(first or {}))
    with desk(folder / "desk", made, 600.0, source=str(source), **more) as running:
        running.source = source
        running.config = folder / "logger.json"
        shutil.copy(folder / "desk" / "logger.json", running.config)
        if starts:
            wait_for(lambda: answers(running), running.said())
        yield running


def answers(running: Desk) -> bool:
    """Whether the logger answers as one that records."""
    with links.Link(ports.open_port(running.port, links.PIECE_S)) as link:
        return _gives_state(link)


def linked(running: Desk) -> links.Link:
    """A link to the logger, from its start on."""
    found = links.Link(ports.open_port(running.port, links.PIECE_S))
    wait_for(lambda: _gives_state(found), running.said())
    return found


def _gives_state(link: links.Link) -> bool:
    try:
        return bool(link.state())
    except CableSilent:
        return False


def wait_for(event: Callable[[], bool], what: str) -> None:
    """Wait until `event` holds; only a hang reaches the limit."""
    until = time.monotonic() + HANG_S
    while not event():
        assert time.monotonic() < until, what
        time.sleep(0.01)
