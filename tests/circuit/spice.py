"""ngspice for the tests: where it is missing they are skipped, and say so."""

from __future__ import annotations

import shutil

import pytest

from hardware.circuit.spice import read, run, transient

__all__ = ["needs_ngspice", "read", "run", "transient"]

needs_ngspice = pytest.mark.skipif(
    shutil.which("ngspice") is None, reason="ngspice is not installed: apt-get install ngspice"
)
