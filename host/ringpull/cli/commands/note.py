"""ringpull note: a remark about a pull, kept beside the ring file."""

from __future__ import annotations

import argparse
from pathlib import Path

from ringpull.cli.options import add_ring

HELP = "keep a remark about a pull beside the ring file"
EXAMPLE = 'ringpull note card 2 "fuel pump changed before this one"'


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("source", type=Path, metavar="SRC", help="ring file, folder of segments, or card folder")
    add_ring(parser)
    parser.add_argument("pull", type=int, metavar="PULL", help="number of the pull, as `ringpull pulls` lists it")
    parser.add_argument("text", type=_words, metavar="TEXT", help='the remark; "" removes it')
    parser.add_argument("--json", action="store_true", help="print all remarks as JSON")


def _words(text: str) -> str:
    """What was typed; where the locale knows no letters beyond English, its bytes are taken for UTF-8."""
    import os

    return os.fsencode(text).decode("utf-8", "replace") if not text.isascii() else text


def run(args: argparse.Namespace) -> int:
    import json

    import ringpull
    from ringpull.errors import RingpullError
    from ringpull.files.remarks import notes_path, write_note

    drive = ringpull.read(args.source, ring=args.ring)
    pulls = drive.pulls()
    if not any(p.number == args.pull for p in pulls):
        raise RingpullError(
            f"There is no pull {args.pull}.",
            f"The drive has {len(pulls)} pull{'' if len(pulls) == 1 else 's'}." if pulls else "The drive has no pulls.",
            "List them with: ringpull pulls " + str(args.source),
        )
    notes = write_note(args.source, args.pull, args.text, drive.older_ring)
    if args.json:
        print(json.dumps({"notes": notes}))
    else:
        print(
            f"{notes_path(args.source, drive.older_ring)}: "
            + (f"pull {args.pull}: {args.text}" if args.text else f"remark on pull {args.pull} removed")
        )
    return 0
