"""What the Makefile calls: builds .venv when the requirements changed, then does one thing. Standard library only."""

import contextlib
import hashlib
import json
import os
import shutil
import subprocess
import sys
import time
from pathlib import Path

try:
    import tomllib
except ImportError:
    sys.exit(
        "error: this is Python %d.%d\n"
        "  likely cause: the machine's own python3 is older than 3.11\n"
        "  what to do: install Python 3.11 or newer and run this with it" % sys.version_info[:2]
    )
try:
    import fcntl
except ImportError:
    fcntl = None
    import msvcrt  # Windows

HERE = Path(__file__).resolve().parent
VENV = HERE / ".venv"
PYTHON = str(VENV / "Scripts" / "python.exe" if os.name == "nt" else VENV / "bin" / "python")
# What a command needs: the extras of pyproject.toml, and what it costs once
DEMO, ALL = "demo", "all"
EXTRAS = {DEMO: "", ALL: "[test,lint,references,hardware,fast,mf4,pictures,library]"}
COST = {
    DEMO: "setting up .venv for the demo, once: 0.3 GB, about half a minute and a network",
    ALL: "setting up .venv for tests and tools, once: 1.3 GB in all, one to two minutes and a network",
}
# Debian packages: the command that shows they are there, what they are for
DEBIAN = {
    "ngspice": ("ngspice", "circuit simulations"),
    "graphviz": ("dot", "the harness drawing"),
    "chromium": ("chromium", "browser tests and pictures of the report"),
}
# Large, and needed for the board to order alone
KICAD = {"kicad": ("pcbnew", "the board's Gerber files and rule check")}


def wanted(level):
    """Hash of all that decides what is in .venv: the requirements, not the settings of tools."""
    table = tomllib.loads((HERE / "pyproject.toml").read_text(encoding="utf-8"))
    project = dict(table["project"])
    if level == DEMO:
        project.pop("optional-dependencies")
    parts = [project, table["build-system"], table["tool"]["hatch"], EXTRAS[level], sys.version, str(HERE)]
    return hashlib.sha256(json.dumps(parts).encode()).hexdigest()


def stamp(level):
    return VENV / f"{level}.sha256"


def is_set_up(level):
    return stamp(level).exists() and stamp(level).read_text() == wanted(level)


@contextlib.contextmanager
def alone():
    """One set-up at a time, where two commands are started at once."""
    with open(HERE / ".setup.lock", "w") as lock:
        if fcntl:
            fcntl.flock(lock, fcntl.LOCK_EX)
        else:
            lock_on_windows(lock)
        yield


def lock_on_windows(lock):
    while True:
        with contextlib.suppress(OSError):  # it gives up after ten seconds
            msvcrt.locking(lock.fileno(), msvcrt.LK_LOCK, 1)
            return


def set_up(level):
    """Build .venv, or add to it, unless what is there was made from the same requirements."""
    with alone():
        if is_set_up(level) or is_set_up(ALL):
            return
        print(COST[level], flush=True)
        began = time.monotonic()
        stamp(level).unlink(missing_ok=True)
        if not venv_fits():
            made = subprocess.run([sys.executable, "-m", "venv", "--clear", str(VENV)])
            if made.returncode:
                sys.exit(
                    "error: Python could not make the folder .venv\n"
                    "  likely cause: Python's venv module is not installed (Debian: python3-venv), or the disk is "
                    "full\n"
                    "  what to do: see the lines above, then run the same command again"
                )
        # What is used is compiled when it is first imported; compiling all of it takes longer than installing it
        pip = [PYTHON, "-m", "pip", "install", "--quiet", "--disable-pip-version-check", "--no-compile"]
        done = subprocess.run([*pip, "-e", f"{HERE}{EXTRAS[level]}"], stdin=subprocess.DEVNULL)
        if done.returncode:
            sys.exit(
                "error: the Python packages could not be installed\n"
                "  likely cause: no network, or a package index that pip does not reach\n"
                "  what to do: see pip's lines above, then run the same command again"
            )
        stamp(level).write_text(wanted(level))
        print(f".venv is ready: it took {time.monotonic() - began:.0f} s", flush=True)


def venv_fits():
    """True if .venv runs this very Python and has pip: then it is brought up to date where it stands."""
    probe = [PYTHON, "-c", "import pip, sys; print(sys.version)"]
    with contextlib.suppress(OSError):
        return subprocess.run(probe, capture_output=True, text=True).stdout.strip() == sys.version
    return False


def debian_packages(wanted_packages=DEBIAN):
    """Install what is missing where that is possible; say in one line what is left out otherwise."""
    missing = [name for name, (command, _) in wanted_packages.items() if not shutil.which(command)]
    if missing and hasattr(os, "geteuid") and os.geteuid() == 0 and shutil.which("apt-get"):
        print("installing Debian packages:", ", ".join(missing), flush=True)
        quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "stdin": subprocess.DEVNULL}
        environment = dict(os.environ, DEBIAN_FRONTEND="noninteractive")
        subprocess.run(["apt-get", "update"], **quiet, env=environment)
        command = ["apt-get", "install", "-y", "--no-install-recommends", *missing]
        subprocess.run(command, **quiet, env=environment)
    for name, (command, use) in wanted_packages.items():
        if not shutil.which(command):
            print(f"{name} is not installed, so {use} are left out (Debian: apt-get install {name})", flush=True)


def python(*arguments, **more):
    """Exit code of a run in .venv. What Python compiles is kept, or each command that a test starts compiles it
    anew."""
    environment = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    return subprocess.run([PYTHON, *arguments], cwd=HERE, env=environment | more).returncode


def pytest(*arguments):
    return python("-m", "pytest", *arguments, OMP_NUM_THREADS="1", OPENBLAS_NUM_THREADS="1")


# A file's tests stay together: some build on what the first of them made. In the order of their folders the short
# files come last, so that neither process waits long for the other
TWO_PROCESSES = ("-n", "2", "--dist", "loadfile", "--no-loadscope-reorder")


def demo():
    print("running the demo: an invented drive, the firmware, the answer; about 10 s", flush=True)
    return python("-m", "ringpull", "demo", "-o", "build/demo")


def test():
    debian_packages()
    print("running the tests in two processes: five to six minutes on two free cores", flush=True)
    return pytest("-m", "not slow", "--durations=10", *TWO_PROCESSES)


def test_all():
    debian_packages(DEBIAN | KICAD)
    print("running all tests, the long ones too, property tests with new examples", flush=True)
    return pytest("--durations=20", "--hypothesis-profile=explore")


def bench():
    return python("-m", "tests.bench")


def docs():
    debian_packages()
    return python("-m", "tests.make.docs")


def hardware():
    debian_packages()
    return python("-m", "hardware.circuit.build")


def board():
    debian_packages(KICAD)
    return python("-m", "hardware.board.make")


def lint():
    return max(
        python("-m", "ruff", "check", "."),
        python("tests/laws/check_types.py"),
        python("-m", "pytest", "tests/laws"),
    )


def setup():
    return 0


COMMANDS = {
    "setup": setup,
    "demo": demo,
    "test": test,
    "test-all": test_all,
    "bench": bench,
    "docs": docs,
    "lint": lint,
    "hardware": hardware,
    "board": board,
}


def main():
    if len(sys.argv) != 2 or sys.argv[1] not in COMMANDS:
        print("usage: python3 run.py", "|".join(COMMANDS), file=sys.stderr)
        return 2
    set_up(DEMO if sys.argv[1] == "demo" else ALL)
    return COMMANDS[sys.argv[1]]()


if __name__ == "__main__":
    sys.exit(main())
