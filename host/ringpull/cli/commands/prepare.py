"""ringpull prepare: ring files and configuration onto a card."""

from __future__ import annotations

import argparse
from pathlib import Path

HELP = "make the ring files on a card and write the configuration to it"
EXAMPLE = "ringpull prepare card --config logger.json"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("card", type=Path, metavar="CARD", help="the folder that the card is mounted at")
    parser.add_argument("--config", type=Path, metavar="FILE", help="logger.json, checked and copied to the card")
    parser.add_argument("--drive-mb", type=_size, default=64, metavar="MB", help="size of drive.rpl (default: 64)")
    parser.add_argument("--pulls-mb", type=_size, default=8, metavar="MB", help="size of pulls.rpl (default: 8)")
    parser.add_argument("--json", action="store_true", help="print what was written as JSON")


def _size(text: str) -> int:
    if not text.isdecimal() or not 1 <= int(text) <= 2048:
        raise argparse.ArgumentTypeError("a whole number of megabytes from 1 to 2048")
    return int(text)


def run(args: argparse.Namespace) -> int:
    import json

    from ringpull.cli.terminal import progress
    from ringpull.device.prepare import prepare

    with progress("preparing") as show:
        written = prepare(args.card, args.config, args.drive_mb, args.pulls_mb, show)
    sizes = {path.name: path.stat().st_size for path in written}
    if args.json:
        print(json.dumps({"card": str(args.card), "bytes": sizes}))
    else:
        for name, size in sizes.items():
            print(f"{args.card / name}: {size} bytes")
    return 0
