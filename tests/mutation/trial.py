"""Runs tests on a copy of the project, in a process of its own that has the large libraries loaded already."""

from __future__ import annotations

import ast
import compileall
import importlib
import os
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
LOADED = ("numpy", "pandas", "pytest", "hypothesis")
MEMORY = 6 << 30  # bytes of address space: a mutant that fills lists for ever ends at it
MICROPYTHON_HEAP = "4m"
STORY_HEAP = "48m"
PASSED, FAILED, ENDLESS = "passed", "failed", "endless"


@dataclass(frozen=True)
class Suite:
    """What is run on a mutant, in this order, up to the first failure.

    pytest: files and options. micropython: files of tests for MicroPython. stories: arguments of
    tests/powercut/story.py.
    """

    pytest: tuple[str, ...] = ()
    micropython: tuple[str, ...] = ()
    stories: tuple[str, ...] = ()

    def first(self, files: int) -> Suite:
        """The first files alone. Mutants that they let pass may be noticed by the rest."""
        return Suite(pytest=self.pytest[:files], micropython=self.micropython[:files])


def copied() -> Path:
    """A copy of all tracked files, in which mutants can stand."""
    place = Path(tempfile.mkdtemp(prefix="ringpull-mutants-"))
    listed = subprocess.run(["git", "ls-files", "-z", "-co", "--exclude-standard"], cwd=ROOT, capture_output=True)
    for name in filter(None, listed.stdout.decode().split("\0")):
        source, target = ROOT / name, place / name
        if source.is_file():
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(source, target)
    for folder in ("host", "shared_math", "tests"):
        compileall.compile_dir(place / folder, quiet=2)
    return place


def put(path: Path, text: str) -> None:
    """Write a module of the copy. What Python compiled of it goes: its time stamp is too coarse to tell two mutants
    apart."""
    path.write_text(text)
    for compiled in (path.parent / "__pycache__").glob(path.stem + ".*.pyc"):
        compiled.unlink()


def prepare(place: Path) -> None:
    """From here on this process and its children see the copy alone."""
    os.environ["PYTHONDONTWRITEBYTECODE"] = os.environ["PYTEST_DISABLE_PLUGIN_AUTOLOAD"] = "1"
    os.environ["PYTHONPATH"] = f"{place / 'host'}:{place}"
    sys.dont_write_bytecode = True
    sys.path[:0] = [str(place / "host"), str(place)]
    os.chdir(place)
    for name in LOADED:
        importlib.import_module(name)


def _micropython() -> str:
    beside = Path(sys.executable).with_name("micropython")
    return str(beside) if beside.exists() else "micropython"


def _run(suite: Suite, place: Path) -> bool:
    """In the child: whether all tests pass."""
    homes = ("firmware", ".", "tests/powercut", "tests/firmware", "tests/shared")
    os.environ["MICROPYPATH"] = ":".join(str(place / home) for home in homes) + ":.frozen"
    with tempfile.TemporaryDirectory(prefix="ringpull-trial-") as scratch:
        command = [_micropython(), "-X", f"heapsize={MICROPYTHON_HEAP}", str(place / "tests/firmware/run_one.py")]
        for path in suite.micropython:
            for node in ast.parse((place / path).read_text()).body:
                if isinstance(node, ast.FunctionDef) and node.name.startswith("test_"):
                    if subprocess.run([*command, Path(path).stem, node.name], cwd=scratch).returncode:
                        return False
        for story in suite.stories:
            command = [_micropython(), "-X", f"heapsize={STORY_HEAP}", str(place / "tests/powercut/story.py")]
            if subprocess.run([*command, *story.split()], cwd=scratch).returncode:
                return False
        if suite.pytest:
            import hypothesis.core
            import pytest

            hypothesis.core.global_force_seed = 0  # as its pytest plugin does for --hypothesis-seed
            quick = [
                "-x",
                "-q",
                "-m",
                "not slow",
                "--assert=plain",
                "-p",
                "no:cacheprovider",
                "-p",
                "no:unraisableexception",
            ]
            return pytest.main([*quick, f"--basetemp={scratch}/tests", *suite.pytest]) == 0
    return True


def trial(suite: Suite, place: Path, most_s: float, log: Path) -> tuple[str, float]:
    """(PASSED, FAILED or ENDLESS, processor seconds). most_s: of processor time, so that a busy machine changes
    nothing."""
    child = os.fork()
    if child == 0:
        os.setpgid(0, 0)
        resource.setrlimit(resource.RLIMIT_CPU, (int(most_s) + 1, int(most_s) + 3))
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
        out = os.open(log, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
        os.dup2(out, 1)
        os.dup2(out, 2)
        code = 3
        try:
            code = 0 if _run(suite, place) else 1
        finally:
            sys.stdout.flush()
            os._exit(code)
    end = time.monotonic() + 30 * most_s + 60  # one that waits for what never comes uses no processor
    while True:
        done, status, used = os.wait4(child, os.WNOHANG)
        if done:
            break
        if time.monotonic() > end:
            os.killpg(child, signal.SIGKILL)
            _, status, used = os.wait4(child, 0)
            break
        time.sleep(0.01)
    seconds = used.ru_utime + used.ru_stime
    if os.WIFSIGNALED(status) or seconds > most_s:
        return ENDLESS, seconds
    return (PASSED if os.WEXITSTATUS(status) == 0 else FAILED), seconds
