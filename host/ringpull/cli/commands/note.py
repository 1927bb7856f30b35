"""ringpull note: a remark about a pull, kept beside the ring file."""

from __future__ import annotations

import argparse
from pathlib import Path

from ringpull.cli.options import add_ring

HELP = "keep a remark about a pull, or the date of a drive, beside the ring file"
EXAMPLE = 'ringpull note card 2 "fuel pump changed before this one"'


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("source", type=Path, metavar="SRC", help="ring file, folder of segments, or card folder")
    add_ring(parser)
    parser.add_argument(
        "pull", type=int, nargs="?", metavar="PULL", help="number of the pull, as `ringpull pulls` lists it"
    )
    parser.add_argument("text", type=_words, nargs="?", metavar="TEXT", help='the remark; "" removes it')
    parser.add_argument(
        "--date",
        metavar="DAY",
        help='note when the drive was, as 2026-11-20, where its logger has no clock; "" removes it',
    )
    parser.add_argument("--json", action="store_true", help="print date and all remarks as JSON")


def _words(text: str) -> str:
    """What was typed; where the locale knows no letters beyond English, its bytes are taken for UTF-8."""
    import os

    return os.fsencode(text).decode("utf-8", "replace") if not text.isascii() else text


def run(args: argparse.Namespace) -> int:
    import json

    import ringpull
    from ringpull.files.dates import driven
    from ringpull.files.remarks import notes_path, read_notes, write_date, write_note

    refuse_half(args)
    day = None if args.date is None else day_of(args.date)
    drive = ringpull.read(args.source, ring=args.ring)
    if args.pull is not None:
        refuse_unknown(args, drive.pulls())
    path = notes_path(args.source, drive.older_ring)
    said = []
    if day is not None:
        write_date(args.source, day, drive.older_ring)
        said.append(f"{path}: driven on {day}" if day else f"{path}: date removed")
        if day and any(session.start_utc for session in drive.sessions):
            said.append("note: this drive's logger has a clock, which goes before what is noted")
    if args.pull is not None:
        write_note(args.source, args.pull, args.text, drive.older_ring)
        what = f"pull {args.pull}: {args.text}" if args.text else f"remark on pull {args.pull} removed"
        said.append(f"{path}: {what}")
    if args.json:
        known = driven(drive)
        date = {"day": known.day, "from": known.known_from}
        print(json.dumps({"notes": read_notes(args.source, drive.older_ring), "date": date}))
    else:
        print("\n".join(said))
    return 0


def refuse_half(args: argparse.Namespace) -> None:
    """BadUsage where neither a remark nor a date was given, or a pull without its remark."""
    from ringpull.errors import BadUsage

    if args.pull is None and args.date is None:
        raise BadUsage("there is nothing to note", "pull and text are missing", f"for instance: {EXAMPLE}")
    if args.pull is not None and args.text is None:
        raise BadUsage(f"there is no remark for pull {args.pull}", "the text is missing", f"for instance: {EXAMPLE}")


def day_of(text: str) -> str:
    """A date as it is kept; "" for none."""
    from ringpull.errors import BadUsage
    from ringpull.files.dates import as_day

    try:
        return as_day(text) if text.strip() else ""
    except ValueError:
        raise BadUsage(f"{text!r} is no date", "it is written another way", "write 2026-11-20") from None


def refuse_unknown(args: argparse.Namespace, pulls: list) -> None:
    """RingpullError where a pull is meant that the drive has not."""
    from ringpull.errors import RingpullError

    if not any(p.number == args.pull for p in pulls):
        raise RingpullError(
            f"There is no pull {args.pull}.",
            f"The drive has {len(pulls)} pull{'' if len(pulls) == 1 else 's'}." if pulls else "The drive has no pulls.",
            "List them with: ringpull pulls " + str(args.source),
        )
