"""`make bench`: a table of figures with what they were measured on. Rows come from every bench_*.py beside this file.

A bench module has `rows()`, which yields (what, value, unit, remark); a remark tells the peer of the same run, if any.
"""

from __future__ import annotations

import importlib
import os
import platform
import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]


def said_by(*words: str) -> str:
    """First line that a program prints, or 'not there'."""
    try:
        done = subprocess.run(words, cwd=ROOT, capture_output=True, text=True, timeout=20)
    except OSError:
        return "not there"
    return (done.stdout.strip().splitlines() or ["not there"])[0]


def processor() -> str:
    """The processor's own name where Linux tells it."""
    info = Path("/proc/cpuinfo")
    names = [line for line in info.read_text().splitlines() if line.startswith("model name")] if info.exists() else []
    return names[0].split(":")[1].strip() if names else platform.machine()


def head() -> list[tuple[str, str]]:
    """What the figures were measured on and with."""
    from importlib.metadata import version

    from ringpull.desk.dryrun import find_micropython

    changed = subprocess.run(["git", "diff", "--quiet", "HEAD"], cwd=ROOT).returncode
    return [
        ("machine", f"{processor()}, {os.cpu_count()} cores, {platform.system()} {platform.release()}"),
        ("python", platform.python_version()),
        ("micropython", said_by(find_micropython(), "--version")),
        ("libraries", ", ".join(f"{name} {version(name)}" for name in ("numpy", "pandas", "pyarrow"))),
        ("commit", said_by("git", "rev-parse", "--short", "HEAD") + (" and changes" if changed else "")),
    ]


def main() -> int:
    sys.path[:0] = [str(HERE), str(HERE.parent)]
    for name, value in head():
        print(f"{name:<12} {value}")
    print()
    for path in sorted(HERE.glob("bench_*.py")):
        rows = importlib.import_module(path.stem).rows()
        for what, value, unit, remark in rows:
            print(f"{what:<34} {value:>10.4g} {unit:<14} {remark}", flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
