"""The sources as syntax trees, for the laws."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
HOST = ROOT / "host" / "ringpull"
FIRMWARE = ROOT / "firmware"
SHARED = ROOT / "shared_math"

SHARED_MAY = {"struct", "binascii", "array", "math", "json", "shared_math"}
# Rooms of host/ringpull from the ground up: a module imports from its own room and from those named before it
ROOMS = (
    "errors",
    "said",
    "files",
    "ring/blocks",
    "ring/rows",
    "ring/values",
    "session",
    "analysis/local",
    "analysis/drive_state",
    "analysis/delay",
    "analysis/instruments",
    "analysis/judge",
    "analysis/rest_of_marked_run",
    "analysis/find_pulls",
    "analysis/other_runs",
    "analysis/cells",
    "analysis/power",
    "analysis/bus_time",
    "analysis/car",
    "analysis/signs",
    "wording",
    "analysis/answer_json",
    "analysis/answer",
    "drive",
    "export",
    "report",
    "view",
    "dryrun",
    "invented",
    "device",
    "cable",
    "shelf",
    "cli",
    "__main__",
)
CLI_MAY = ("host/ringpull/cli/", "host/ringpull/__main__.py")  # who may import the command line
DEVICE = {"machine", "rp2", "esp32", "pyb", "stm"}
FIRMWARE_MAY = {
    *SHARED_MAY,
    *("array", "binascii", "errno", "gc", "io", "json", "math", "micropython", "os", "select", "struct", "sys", "time"),
    *("socket", "uctypes", "vfs", "framebuf"),
}


def sources(folder: Path) -> list[Path]:
    return sorted(folder.rglob("*.py"))


@cache
def imports(text: str) -> list[tuple[int, str]]:
    """(line, full dotted name) of every import anywhere in the source; `from a import b` gives a.b."""
    return list(_imports(text))


def _imports(text: str) -> Iterator[tuple[int, str]]:
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield node.lineno, alias.name
        elif isinstance(node, ast.ImportFrom):
            for alias in node.names:
                yield node.lineno, "." * node.level + (node.module or "") + "." + alias.name


def firmware_names() -> set[str]:
    """What the firmware calls its own top-level modules."""
    return {path.stem for path in FIRMWARE.iterdir() if path.suffix == ".py" or (path / "__init__.py").exists()}


def broken(place: str, text: str) -> list[str]:
    """Sentences on every import of one file that the law forbids. place: the path from the repository's root."""
    top = place.split("/")[0]
    own = firmware_names()
    found = []
    for line, name in imports(text):
        first = name.split(".")[0]
        if top == "shared_math":
            wrong = first not in SHARED_MAY and not (place == "shared_math/compat.py" and first == "micropython")
        elif top == "firmware":
            touches = place.startswith(("firmware/boards/", "firmware/drivers/"))
            wrong = first not in FIRMWARE_MAY | own and not (first in DEVICE and touches)
        else:
            cli = name.startswith("ringpull.cli") and not place.startswith(CLI_MAY)
            wrong = first in own | DEVICE | {"firmware", "tests", "micropython", ""} or cli
        if wrong:
            found.append(f"{place}:{line} imports {name}")
    return found


def room(name: str) -> int | None:
    """Place in ROOMS of a dotted module of ringpull; None for the package itself, whose `read` is the drive's."""
    path = "/".join(name.split(".")[1:])
    places = [place for place, known in enumerate(ROOMS) if path == known or path.startswith(known + "/")]
    return places[0] if places else None


def upward(place: str, text: str) -> list[str]:
    """Imports of one file of host/ringpull that lead to a room above its own, and files that stand in no room."""
    here = place.removeprefix("host/").removesuffix(".py").replace("/", ".")
    own = room(here)
    if own is None:
        is_package = place.endswith("/__init__.py")
        return [] if is_package else [f"{place} stands in no room"]
    names = [(line, name) for line, name in imports(text) if name.startswith("ringpull.")]
    return [f"{place}:{line} imports {name}" for line, name in names if (room(name) or 0) > own]
