"""`make bench`: a table of figures with what they were measured on. Rows come from every bench_*.py beside this file.

`python -m tests.bench answer` runs that one alone. A bench module has `rows()`, which yields (what, value, unit,
remark); a remark tells the peer of the same run, if any. One with a path RESULTS has its table kept there.
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

    from ringpull.dryrun.run import find_micropython

    changed = subprocess.run(["git", "diff", "--quiet", "HEAD"], cwd=ROOT).returncode
    return [
        ("machine", f"{processor()}, {os.cpu_count()} cores, {platform.system()}"),
        ("python", platform.python_version()),
        ("micropython", said_by(find_micropython(), "--version")),
        ("libraries", ", ".join(f"{name} {version(name)}" for name in ("numpy", "pandas", "pyarrow"))),
        ("commit", said_by("git", "rev-parse", "--short", "HEAD") + (" and changes" if changed else "")),
    ]


def keep(path: Path, about: list[tuple[str, str]], rows: list[tuple]) -> None:
    """Write the table of a bench as Markdown."""
    from datetime import date

    lines = ["# Figures of a full run", "", f"Written by `python -m tests.bench`, {date.today()}.", ""]
    lines += [f"- {name}: {value}" for name, value in about]
    lines += ["", "| what | value | unit | remark |", "|---|---:|---|---|"]
    lines += [f"| {what.strip()} | {value:.4g} | {unit} | {remark} |" for what, value, unit, remark in rows]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def main() -> int:
    sys.path[:0] = [str(HERE), str(HERE.parent)]
    about = head()
    for name, value in about:
        print(f"{name:<12} {value}")
    print()
    wanted = [f"bench_{name}" for name in sys.argv[1:]]
    for path in sorted(HERE.glob("bench_*.py")):
        if wanted and path.stem not in wanted:
            continue
        module, kept = importlib.import_module(path.stem), []
        for what, value, unit, remark in module.rows():
            kept.append((what, value, unit, remark))
            print(f"{what:<42} {value:>10.4g} {unit:<14} {remark}", flush=True)
        if getattr(module, "RESULTS", None):
            keep(module.RESULTS, about, kept)
    return 0


if __name__ == "__main__":
    sys.exit(main())
