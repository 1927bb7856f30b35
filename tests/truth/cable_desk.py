"""The real firmware on MicroPython's unix port, in the clock's time, its console on a pty: what a PC meets on USB."""

from __future__ import annotations

import json
import os
import pty
import shutil
import subprocess
import threading
import time
import tty
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from ringpull.dryrun import run, signals
from ringpull.dryrun.sources import firmware_dir, shared_math_dir
from truth.signals import Signals

HANG_S = 300


class Desk:
    """port: of the logger, for a PC. process: the firmware. meddle: function that gets bytes on their way to the PC,
    or None, and gives what arrives in their place; None where the cable is pulled then."""

    def __init__(self, work: Path, files: list[Path], end_s: float, **more) -> None:
        settings, text = run.load_config(files[0])
        compiled = signals.compile_signals(settings, *files[1:])
        job_path = run.write_job(work, settings, compiled, files[0], 1, 0, None)
        job = json.loads(job_path.read_text())
        self.to_pc: Callable[[bytes], bytes | None] | None = None
        board, slave = pty.openpty()  # between here and the firmware
        self.pc, there = pty.openpty()  # between here and the PC
        for end in (board, slave, self.pc, there):
            tty.setraw(end)
        self.board = board
        self.port = os.ttyname(there)
        self._ends = [slave, there]
        job.update({"console": os.ttyname(slave), "paced": True, "end_us": int(end_s * 1e6), **more})
        job_path.write_text(json.dumps(job))
        shutil.copytree(shared_math_dir(), work / "shared_math", ignore=shutil.ignore_patterns("__pycache__"))
        environment = dict(
            os.environ, RINGPULL_DESK=str(job_path), MICROPYPATH=os.pathsep.join((str(work), ".frozen"))
        )
        command = [run.find_micropython(), "-X", f"heapsize={run.heap_for(text)}", str(firmware_dir() / "main.py")]
        self.errors = work / "errors.txt"
        with self.errors.open("w") as errors:
            self.process = subprocess.Popen(command, cwd=work, env=environment, stdout=errors, stderr=errors)
        self.out = Path(job["out"])
        self._on = True
        self._threads = [
            threading.Thread(target=self._carry, args=(self.pc, self.board, None), daemon=True),
            threading.Thread(target=self._carry, args=(self.board, self.pc, "to_pc"), daemon=True),
        ]
        for one in self._threads:
            one.start()

    def _carry(self, source: int, target: int, through: str | None) -> None:
        while self._on:
            try:
                data = os.read(source, 4096)
            except OSError:
                return
            meddle = getattr(self, through) if through else None
            if meddle:
                data = meddle(data)
            if data is None:
                self.pull()
                return
            while data and self._on:
                try:
                    data = data[os.write(target, data) :]
                except OSError:
                    return

    def pull(self) -> None:
        """Take the cable out at the PC's side."""
        self._on = False
        for end in (self.pc, self._ends[1]):
            try:
                os.close(end)
            except OSError:
                pass

    def end(self) -> None:
        """Stop the firmware, as power that goes."""
        self.process.kill()
        self.process.wait(HANG_S)
        self._on = False
        for end in (self.board, self.pc, *self._ends):
            try:
                os.close(end)
            except OSError:
                pass

    def said(self) -> str:
        """What the firmware printed."""
        return self.errors.read_text()


@contextmanager
def desk(folder: Path, made: Signals, end_s: float, **more) -> Iterator[Desk]:
    """The firmware on these signals, recording; with power for `end_s` of the clock's time at most."""
    made.write(folder)
    files = [folder / name for name in ("logger.json", "volts.csv", "edges.csv", "buttons.csv")]
    work = folder / "work"
    (work / "out").mkdir(parents=True)
    running = Desk(work, files, end_s, **more)
    try:
        yield running
    finally:
        running.end()


def wait_for(event: Callable[[], bool], what: str) -> None:
    """Wait until `event` holds; only a hang reaches the limit."""
    until = time.monotonic() + HANG_S
    while not event():
        assert time.monotonic() < until, what
        time.sleep(0.01)
