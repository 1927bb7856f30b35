"""What a fault of the board does to car, logger and reading: `python -m hardware.board.failure_page` writes
hardware/failures/board.md, in minutes.

The jumper of the tach sources stands at the coil, which is the dangerous one; what stays empty is left out.
"""

from __future__ import annotations

import sys
from dataclasses import replace

from hardware.board import contents
from hardware.circuit import boards, failure_table
from hardware.circuit.failures import Bench

_FITTED = tuple(use for use in contents.BOARD.uses if use.prefix not in contents.NOT_FITTED)
_JOINED = {outer for use in _FITTED for outer in use.joins.values()} | {"T2"}
BENCH = Bench(
    replace(
        contents.BOARD,
        uses=_FITTED,
        terminals={name: end for name, end in contents.BOARD.terminals.items() if name in _JOINED},
    ),
    boards.RP2,
)


def main() -> int:
    """Write the page."""
    failure_table.write(BENCH)
    return 0


if __name__ == "__main__":
    sys.exit(main())
