#!/usr/bin/env python3
"""What the Makefile calls: builds .venv when the requirements changed, then does one thing. Standard library only."""

import contextlib
import fcntl
import hashlib
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

try:
    import tomllib
except ImportError:
    sys.exit(
        "error: this is Python %d.%d\n"
        "  likely cause: the machine's own python3 is older than 3.11\n"
        "  what to do: install Python 3.11 or newer and run this with it" % sys.version_info[:2]
    )

HERE = Path(__file__).resolve().parent
VENV = HERE / ".venv"
BIN = VENV / "bin"
EXTRAS = "test,lint,references,hardware,fast,mf4"
# Debian packages: the command that shows they are there, what they are for
DEBIAN = {
    "ngspice": ("ngspice", "circuit simulations"),
    "graphviz": ("dot", "the harness drawing"),
    "chromium": ("chromium", "browser tests and pictures of the report"),
}


def wanted():
    """Hash of all that decides what is in .venv: the requirements, not the settings of tools."""
    table = tomllib.loads((HERE / "pyproject.toml").read_text())
    parts = [table["project"], table["build-system"], table["tool"]["hatch"], EXTRAS, sys.version, str(HERE)]
    return hashlib.sha256(json.dumps(parts).encode()).hexdigest()


def set_up():
    """Build .venv unless the one there was built from the same requirements."""
    with open(HERE / ".setup.lock", "w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        stamp = VENV / "requirements.sha256"
        if stamp.exists() and stamp.read_text() == wanted():
            return
        print("setting up .venv (once; a few minutes on a new machine)", flush=True)
        stamp.unlink(missing_ok=True)
        if not venv_fits():
            made = subprocess.run([sys.executable, "-m", "venv", "--clear", str(VENV)])
            if made.returncode:
                sys.exit(
                    "error: Python could not make the folder .venv\n"
                    "  likely cause: Python's venv module is not installed (Debian: python3-venv), or the disk is full\n"
                    "  what to do: see the lines above, then run the same command again"
                )
        pip = [str(BIN / "python"), "-m", "pip", "install", "--quiet", "--disable-pip-version-check"]
        done = subprocess.run([*pip, "-e", f"{HERE}[{EXTRAS}]"], stdin=subprocess.DEVNULL)
        if done.returncode:
            sys.exit(
                "error: the Python packages could not be installed\n"
                "  likely cause: no network, or a package index that pip does not reach\n"
                "  what to do: see pip's lines above, then run the same command again"
            )
        stamp.write_text(wanted())


def venv_fits():
    """True if .venv runs this very Python and has pip: then it is brought up to date where it stands."""
    probe = [str(BIN / "python"), "-c", "import pip, sys; print(sys.version)"]
    with contextlib.suppress(OSError):
        return subprocess.run(probe, capture_output=True, text=True).stdout.strip() == sys.version
    return False


def debian_packages():
    """Install what is missing where that is possible; say in one line what is left out otherwise."""
    missing = [name for name, (command, _) in DEBIAN.items() if not shutil.which(command)]
    if missing and os.geteuid() == 0 and shutil.which("apt-get"):
        print("installing Debian packages:", ", ".join(missing), flush=True)
        quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "stdin": subprocess.DEVNULL}
        environment = dict(os.environ, DEBIAN_FRONTEND="noninteractive")
        subprocess.run(["apt-get", "update"], **quiet, env=environment)
        command = ["apt-get", "install", "-y", "--no-install-recommends", *missing]
        subprocess.run(command, **quiet, env=environment)
    for name, (command, use) in DEBIAN.items():
        if not shutil.which(command):
            print(f"{name} is not installed, so {use} are left out: apt-get install {name}", flush=True)


def pytest(*arguments):
    environment = dict(os.environ, OMP_NUM_THREADS="1", OPENBLAS_NUM_THREADS="1")
    return subprocess.run([str(BIN / "python"), "-m", "pytest", *arguments], cwd=HERE, env=environment).returncode


# A file's tests stay together: some build on what the first of them made
TWO_PROCESSES = ("-n", "2", "--dist", "loadfile")


def demo():
    return subprocess.run([str(BIN / "ringpull"), "demo", "-o", "build/demo"], cwd=HERE).returncode


def test():
    debian_packages()
    return pytest("-m", "not slow", "--durations=10", *TWO_PROCESSES)


def test_all():
    debian_packages()
    return pytest("--durations=20")


def bench():
    return subprocess.run([str(BIN / "python"), "-m", "tests.bench"], cwd=HERE).returncode


def docs():
    debian_packages()
    return subprocess.run([str(BIN / "python"), "-m", "tests.make.docs"], cwd=HERE).returncode


def hardware():
    debian_packages()
    return subprocess.run([str(BIN / "python"), "-m", "hardware.circuit.build"], cwd=HERE).returncode


def lint():
    commands = (
        [str(BIN / "ruff"), "check", "."],
        [str(BIN / "python"), "tests/laws/check_types.py"],
        [str(BIN / "python"), "-m", "pytest", "tests/laws"],
    )
    return max(subprocess.run(command, cwd=HERE).returncode for command in commands)


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
}


def main():
    if len(sys.argv) != 2 or sys.argv[1] not in COMMANDS:
        print("usage: python3 run.py", "|".join(COMMANDS), file=sys.stderr)
        return 2
    set_up()
    return COMMANDS[sys.argv[1]]()


if __name__ == "__main__":
    sys.exit(main())
