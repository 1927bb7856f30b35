"""The figures of tests/emulated/RESULTS.md, measured on an emulated RP2040 at the time that their last rows tell."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

TABLE = Path(__file__).resolve().parents[1] / "emulated" / "RESULTS.md"


def rows() -> Iterator[tuple[str, float, str, str]]:
    lines = [line.strip("| ").split(" | ") for line in TABLE.read_text().splitlines() if line.startswith("| ")]
    remarks = {(scenario, figure): value for scenario, figure, value in lines[2:]}
    for (scenario, figure), value in remarks.items():
        if figure not in ("what", "measured"):
            about = f"emulated, {remarks[scenario, 'measured']}"
            yield f"{scenario}: {figure}", float(value), "", about
