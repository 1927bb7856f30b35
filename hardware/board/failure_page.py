"""What a fault of the board does to car, logger and reading: `python -m hardware.board.failure_page` writes
hardware/failures/board.md, in minutes.

The jumper of the tach sources stands at the coil, which is the dangerous one, and at the line for what reaches that;
what stays empty is left out.
"""

from __future__ import annotations

import sys
from dataclasses import replace

from hardware.board import board_faults, contents
from hardware.circuit import boards, failure_table, failures
from hardware.circuit.failures import Bench
from hardware.circuit.faults import TO_12V, Fault

BENCH = Bench(contents.FITTED, boards.RP2, extra=board_faults.every())
_USB = "rusb 0 chassis 0.1"  # a laptop's USB cable and its charger's ground


def charger_amps() -> float:
    """Through the ground wire, where it touches 12 V while a laptop on USB is charged in the car."""
    run, _, _ = failures.run(replace(BENCH, joined=(_USB,)), Fault("T2", TO_12V))
    return run.wire_amps("T2")


def notes() -> tuple[str, ...]:
    """What stands before the rows."""
    return (
        "**J-JP1 stands on 2-3, the coil:** the tach line is then read by nothing, and what happens to it changes no\n"
        "reading. What reaches it stands once more at the end, with J-JP1 on 1-2. Second pulses (T20) are an\n"
        "injector's switched side. A wire of 2 m has some 0.1 nF to the car's body. Three rows alone count it:\n"
        "through it sparks are seen though T6 or C-R4 is open. Coil and engine computer see the same in both places.",
        "Plugs are moved with their wires; the plug whose place is taken hangs in the air. M1 is the RP2040 board in\n"
        "its sockets: its seven ground legs stand for each other, legs to which nothing goes are left out, unless\n"
        "they do something there (RUN, EN). Leg 39 on 40 (VBUS) shows only with a laptop on USB, which P-D4 feeds.\n"
        "Button, lamp and sounder were simulated on and off. Ground legs of U1 to U3 are no rows, for the models of\n"
        "these chips have none; block K and J10 stay empty and have none either.",
        "**Not a row, but a caution: a laptop on USB that is charged in the car.** Its ground is the car's, past\n"
        f"P-F2: a ground wire (T2) on 12 V would then carry {charger_amps():.0f} A and burn. In the car a laptop runs\n"
        "on its own battery, or an isolator sits in the USB cable.",
    )


def main() -> int:
    """Write the page."""
    failure_table.write(BENCH, notes())
    return 0


if __name__ == "__main__":
    sys.exit(main())
