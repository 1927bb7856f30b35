"""Runs ngspice on a netlist in batch mode and reads its raw file."""

from __future__ import annotations

import subprocess
import tempfile
from pathlib import Path

import numpy as np

from hardware.circuit import netlist


def transient(body: list[str], seconds: float, degc: float = 25, step_s: float | None = None) -> dict[str, np.ndarray]:
    """Simulate `body` (netlist lines) for that long, every node and current kept."""
    step = step_s or seconds / 2000
    options = f".options savecurrents method=gear reltol=1e-4 temp={degc}"
    return run(netlist.deck("test", [*body, options, f".tran {step:g} {seconds:g} 0 {step:g}", ".save all"]))


def run(deck: str, timeout_s: float = 600) -> dict[str, np.ndarray]:
    """All vectors of the deck's one analysis by name, in lower case: voltages as "v(net)", currents as "i(source)"."""
    with tempfile.TemporaryDirectory() as folder:
        raw = Path(folder) / "out.raw"
        (Path(folder) / "in.cir").write_text(deck)
        done = subprocess.run(
            ["ngspice", "-b", "-r", str(raw), "in.cir"], cwd=folder, capture_output=True, text=True, timeout=timeout_s
        )
        if not raw.exists() or "aborted" in done.stdout + done.stderr:
            raise RuntimeError(f"ngspice did not finish:\n{done.stdout[-1500:]}\n{done.stderr[-1500:]}")
        return read(raw.read_bytes())


def read(data: bytes) -> dict[str, np.ndarray]:
    """Vectors of the first plot in a binary raw file."""
    head, body = data.split(b"Binary:\n", 1)
    fields = dict(line.split(":", 1) for line in head.decode().splitlines() if ":" in line and line[0] != "\t")
    names = [line.split("\t")[2].lower() for line in head.decode().splitlines() if line.startswith("\t")]
    points = int(fields["No. Points"])
    kind = np.complex128 if "complex" in fields["Flags"] else np.float64
    table = np.frombuffer(body, kind, points * len(names)).reshape(points, len(names))
    return dict(zip(names, table.T))
