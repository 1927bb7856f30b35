"""Writes the board: `python -m hardware.board.make`, which `make board` calls.

The board file, its project and rules need nothing else; pours, Gerber and drill files need KiCad 6 (Debian: kicad),
whose Python module runs fabricate.py.
"""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

from hardware.board import assembly, bringup, kicad, prices, wiring_page
from hardware.circuit import harness

ROOT = Path(__file__).resolve().parents[2]
MADE = ROOT / "hardware" / "board" / "made"
NAME = "ringpull"
_PYTHONS = ("/usr/bin/python3", "python3")  # Debian's KiCad belongs to the system's own Python


def kicad_python() -> str | None:
    """A Python that can import KiCad's module, or None."""
    for name in _PYTHONS:
        path = shutil.which(name)
        if path and subprocess.run([path, "-c", "import pcbnew"], capture_output=True).returncode == 0:
            return path
    return None


@dataclass(frozen=True)
class Fabricated:
    """board: text of the filled board file. files: name -> text of Gerber and drill files. drc: KiCad's report.
    nets: net -> pads joined, read back from the board file. unconnected: joints that copper does not make."""

    board: str
    files: dict[str, str]
    drc: str
    nets: dict[str, list[list[str]]]
    unconnected: int


def fabricate(python: str) -> Fabricated:
    """Fill, check and plot the board with KiCad, in a folder of its own."""
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        board = place / f"{NAME}.kicad_pcb"
        for name, text in sources().items():
            (place / name).write_text(text)
        script = Path(__file__).with_name("fabricate.py")
        done = subprocess.run(
            [python, str(script), str(board), str(place / "out")],
            capture_output=True,
            text=True,
            stdin=subprocess.DEVNULL,
        )
        if done.returncode:
            raise RuntimeError(f"KiCad could not make the board:\n{done.stdout}{done.stderr}")
        told = json.loads((place / "out" / "netlist.json").read_text())
        files = {
            path.name: path.read_text() for path in sorted((place / "out").iterdir()) if path.suffix.startswith(".g")
        }
        files |= {path.name: path.read_text() for path in sorted((place / "out").glob("*.drl"))}
        return Fabricated(
            board.read_text(), files, (place / "out" / "drc.txt").read_text(), told["nets"], told["unconnected"]
        )


def sources() -> dict[str, str]:
    """The files that KiCad needs, from the data alone: board (pours not yet filled), project, rules."""
    return {
        f"{NAME}.kicad_pcb": kicad.board_text(),
        f"{NAME}.kicad_pro": kicad.project_text(),
        f"{NAME}.kicad_dru": kicad.rules_text(),
    }


def texts() -> dict[str, str]:
    """Path below made/ -> content, of everything that needs no KiCad."""
    out = {name: text for name, text in sources().items() if not name.endswith(".kicad_pcb")}
    out["placement.csv"] = assembly.placement_csv()
    out["assembly.svg"] = assembly.svg()
    out["assembly.html"] = assembly.page()
    out["parts.csv"] = prices.as_csv()
    out["bringup.md"] = bringup.markdown()
    out["wiring.md"] = wiring_page.markdown()
    out["harness.yml"] = wiring_page.harness_yaml()
    return out


def main() -> int:
    """Write all of it; say in one line what could not be made."""
    made = texts()
    python = kicad_python()
    if python:
        done = fabricate(python)
        made[f"{NAME}.kicad_pcb"] = done.board
        made |= {f"gerber/{name}": text for name, text in done.files.items()}
        print(f"board: {done.unconnected} joints without copper")
    else:
        print("KiCad is not installed, so board file and Gerber files are left as they are: apt-get install kicad")
    if shutil.which("dot"):
        made["harness.svg"] = harness.drawing(made["harness.yml"])
    else:
        print("graphviz is not installed, so the harness drawing is left as it is: apt-get install graphviz")
    for name, text in made.items():
        path = MADE / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)
    print(f"board: {len(made)} files written to {MADE.relative_to(ROOT)}")
    print(f"board and parts: {prices.total_usd():.2f} US dollars, of which the bare board {prices.BARE_USD:.2f}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
