"""ringpull tidy: the small tables of a shelf in one file a car."""

from __future__ import annotations

import argparse
from pathlib import Path

HELP = "put the small tables of a shelf into one file a car, which makes questions several times faster"
EXAMPLE = "ringpull tidy shelf"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("shelf", type=Path, metavar="SHELF", help="folder of the shelf")
    parser.add_argument("--json", action="store_true", help="print what was done as JSON")


def run(args: argparse.Namespace) -> int:
    import json
    from dataclasses import asdict

    from ringpull.shelf.tidy import tidy

    found = tidy(args.shelf)
    if args.json:
        print(json.dumps({"cars": [asdict(one) for one in found]}, indent=1))
        return 0
    for one in found:
        swept = f"; {one.removed} that were left lying are gone" if one.removed else ""
        print(f"{one.car}: {one.drives} drives, {one.files[0]} files before and {one.files[1]} after{swept}")
    return 0
