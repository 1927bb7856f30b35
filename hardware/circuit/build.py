"""Writes every drawing, table, list and netlist from the circuit data: `python -m hardware.circuit.build`."""

from __future__ import annotations

import shutil
import sys
from pathlib import Path

from hardware.circuit import boards, bom, builds, draw, harness, layout, netlist, pictures, pinouts, tables
from hardware.circuit.blocks import ALL
from hardware.circuit.bom import fitted
from hardware.circuit.limits import BOARD_MA

ROOT = Path(__file__).resolve().parents[2]
HARDWARE = ROOT / "hardware"
DRAWN_WITH = "0.23"  # of schemdraw: another version may place a line's last decimal elsewhere


def build_netlist(build: builds.Build, board: boards.Board) -> str:
    """The whole build as one ngspice deck, with the car and the board as plain sources around it."""
    body = [f"* {build.title}, {board.title}"]
    for use in fitted(build, board):
        body += netlist.lines(use.data, use.prefix.lower(), outer=use.joins)
    body += [
        "* the car and the board around it",
        "vfeed tap 0 13.5",
        f"rboard vboard 0 {4.7 / BOARD_MA * 1000:g}",
        "vrail 3v3 0 3.3",
        "vground car_ground 0 0",
        "vlambda car_lambda 0 2.5",
        "vsense car_lambda_ground 0 0",
        "vlamp lamp 0 3.3",
    ]
    if build.name == "full":
        body += ["vspeed car_coil 0 pulse(0 350 1m 20u 20u 60u 5m)", "vblock car_block 0 0", "vpressure t7 0 2.5"]
        body += ["vthrottle car_throttle 0 2.5", "vsensor car_throttle_ground 0 0", "rsensors t12 t13 200"]
        body += ["rends car_bus_high car_bus_low 60", "vbus car_bus_low 0 2.5", "vbusground car_bus_ground 0 0"]
        body += ["vselect bus_cs 0 3.3", "rint bus_int 0 1meg", "rmiso x_miso 0 1meg", "rsck x_sck 0 40"]
        body += ["rmosi x_mosi 0 40"]
    else:
        body.append("vspeed car_tach 0 pulse(0 12 1m 20u 20u 1m 5m)")
    return netlist.deck(f"{build.name} {board.name}", [*body, ".options method=gear reltol=1e-4", ".tran 20u 40m"])


def texts() -> dict[str, str]:
    """Path below hardware/ -> content, for everything but the harness drawings."""
    out = {f"drawings/{block.name}.svg": draw.svg(block) for block in ALL}
    out |= {"drawings/pinouts.svg": pinouts.svg(), "drawings/right_wrong.svg": pictures.svg()}
    for build in builds.ALL:
        out[f"drawings/layout_{build.name}.svg"] = layout.svg(layout.ALL[build.name], build.title.split(":")[0])
        out[f"harness/{build.name}.yml"] = harness.yaml(build)
        for board in boards.ALL:
            out[f"wiring/{build.name}_{board.name}.md"] = tables.markdown(build, board)
            out[f"parts/{build.name}_{board.name}.csv"] = bom.as_csv(build, board)
            out[f"netlists/{build.name}_{board.name}.cir"] = build_netlist(build, board)
    return out


def main() -> int:
    """Write all of it; say in one line what could not be made."""
    made = texts()
    if shutil.which("dot"):
        for build in builds.ALL:
            made[f"harness/{build.name}.svg"] = harness.drawing(made[f"harness/{build.name}.yml"])
    else:
        print("graphviz is not installed, so the harness drawings are left as they are: apt-get install graphviz")
    for name, text in made.items():
        path = HARDWARE / name
        path.parent.mkdir(exist_ok=True)
        path.write_text(text)
    print(f"hardware: {len(made)} files written")
    for build in builds.ALL:
        for board in boards.ALL:
            print(f"{build.name} on {board.name}: {bom.total_usd(build, board):.2f} US dollars")
    return 0


if __name__ == "__main__":
    sys.exit(main())
