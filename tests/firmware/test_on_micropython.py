"""Every test of this folder under real MicroPython with a 192 kB heap, each in a process of its own.

The folder's other test_*.py are for MicroPython alone: found here, never listed. They and their benches are compiled
beforehand, so that what a test is made of costs little of the heap that it is about; the firmware is not.
"""

import ast
import os
import subprocess
from pathlib import Path

import compiled
import pytest
from limits import HANG_S

from ringpull.dryrun.run import HEAP, find_micropython
from ringpull.files.firmware_sources import firmware_dir, shared_math_dir

HERE = Path(__file__).parent
# The slow tier asks for room to spare: how a heap breaks into pieces differs from machine to machine
HEAPS = [HEAP, pytest.param("176k", marks=pytest.mark.slow)]


def _tests():
    for path in sorted(HERE.glob("test_*.py")):
        if path.name == Path(__file__).name:
            continue
        for node in ast.parse(path.read_text()).body:
            if isinstance(node, ast.FunctionDef) and node.name.startswith("test_"):
                yield pytest.param(path, node.name, id=f"{path.stem}::{node.name}")


@pytest.fixture(scope="session")
def benches(tmp_path_factory):
    """The folder with this one's modules, compiled."""
    return compiled.into(tmp_path_factory.mktemp("benches"), HERE.glob("*.py"))


@pytest.mark.parametrize("heap", HEAPS)
@pytest.mark.parametrize(("path", "name"), list(_tests()))
def test_on_micropython(path, name, heap, tmp_path, benches):
    places = [firmware_dir(), shared_math_dir().parent, benches]
    environment = dict(os.environ, MICROPYPATH=":".join(map(str, places)) + ":.frozen")
    command = [find_micropython(), "-X", f"heapsize={heap}", "-m", "run_one", path.stem, name]
    done = subprocess.run(command, cwd=tmp_path, env=environment, capture_output=True, text=True, timeout=HANG_S)
    assert done.returncode == 0, f"{' '.join(command)}\n{done.stdout}{done.stderr}"
