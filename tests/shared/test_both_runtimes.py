"""Every other test file of this folder once more, under real MicroPython with a 192 kB heap. Found, never listed."""

import ast
import os
import subprocess
from pathlib import Path

import compiled
import pytest
from limits import HANG_S

from ringpull.dryrun.run import HEAP, find_micropython
from ringpull.files.firmware_sources import shared_math_dir

HERE = Path(__file__).parent
RUNNER = HERE.parent / "run_micropython.py"
# The slow tier asks for room to spare: how a heap breaks into pieces differs from machine to machine
HEAPS = [HEAP, pytest.param("176k", marks=pytest.mark.slow)]
FILES = [path for path in sorted(HERE.glob("test_*.py")) if path != Path(__file__)]


@pytest.fixture(scope="session")
def modules(tmp_path_factory):
    """The folder with this one's modules, compiled."""
    return compiled.into(tmp_path_factory.mktemp("modules"), HERE.glob("*.py"))


def run_under_micropython(name, folder, heap=HEAP):
    command = [find_micropython(), "-X", f"heapsize={heap}", str(RUNNER), name]
    environment = dict(os.environ, MICROPYPATH=f"{shared_math_dir().parent}:{folder}:.frozen")
    return subprocess.run(command, env=environment, capture_output=True, text=True, timeout=HANG_S), command


@pytest.mark.parametrize("heap", HEAPS)
@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_on_micropython(path, heap, modules):
    tests = [node for node in ast.parse(path.read_text()).body if getattr(node, "name", "").startswith("test_")]
    done, command = run_under_micropython(path.stem, modules, heap)
    assert done.returncode == 0, f"{' '.join(command)}\n{done.stdout}{done.stderr}"
    assert f"{len(tests)} run, 0 failed" in done.stdout


def test_a_failure_there_is_a_failure_here(tmp_path):
    (tmp_path / "test_bad.py").write_text("def test_wrong():\n    assert 1 == 2\n")
    done, _ = run_under_micropython("test_bad", tmp_path)
    assert done.returncode == 1 and "FAILED test_wrong" in done.stdout
