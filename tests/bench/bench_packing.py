"""What packing a row costs on the device: machine instructions, counted by valgrind, so the same on a busy machine."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from pathlib import Path

from ringpull.dryrun.run import find_micropython
from ringpull.files.firmware_sources import firmware_dir, shared_math_dir

FEW, MANY = 1000, 3000


def instructions(kind: str, count: int) -> int:
    places = [firmware_dir(), shared_math_dir().parent]
    environment = dict(os.environ, MICROPYPATH=":".join(map(str, places)) + ":.frozen")
    script = Path(__file__).with_name("pack_rows.py")
    words = ["valgrind", "--tool=callgrind", "--callgrind-out-file=/dev/null", "--", find_micropython()]
    done = subprocess.run([*words, str(script), kind, str(count)], env=environment, capture_output=True, text=True)
    found = re.search(r"Collected : (\d+)", done.stderr)
    if not found:
        raise RuntimeError(done.stderr[-300:])
    return int(found[1])


def rows():
    if not shutil.which("valgrind"):
        yield "packing a row", float("nan"), "instructions", "left out: valgrind is not installed"
        return
    for kind in ("plain", "compiled"):
        per_row = (instructions(kind, MANY) - instructions(kind, FEW)) / (MANY - FEW)
        yield (
            f"packing a row, {kind}",
            per_row,
            "instructions",
            "19 columns, blocks written and the row's share of that",
        )
