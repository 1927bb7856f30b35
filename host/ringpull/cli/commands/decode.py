"""ringpull decode: write the table in engineering units to a file."""

from __future__ import annotations

import argparse
from pathlib import Path

from ringpull.cli.options import add_ring, tell_origin
from ringpull.export import FORMATS
from ringpull.files.outputs import output_file

HELP = "write the table in engineering units as CSV, Parquet or MDF4"
EXAMPLE = "ringpull decode card -o drive.csv"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("source", type=Path, metavar="SRC", help="ring file, folder of segments, or card folder")
    add_ring(parser)
    *others, last = FORMATS
    parser.add_argument(
        "-o",
        "--output",
        type=output_file,
        required=True,
        metavar="FILE",
        help=f"the file to write; its ending chooses the format: {', '.join(others)} or {last}",
    )
    parser.add_argument("--session", type=int, metavar="N", help="decode only this session")
    parser.add_argument("--json", action="store_true", help="print what was written as JSON")


def run(args: argparse.Namespace) -> int:
    import json

    import ringpull
    from ringpull.cli.terminal import progress
    from ringpull.errors import BadUsage
    from ringpull.export import export

    with progress("decoding") as show:
        drive = ringpull.read(args.source, lambda fraction: show(0.2 * fraction), args.ring)
        sessions = drive.sessions
        if args.session is not None:
            sessions = [one for one in sessions if one.id == args.session]
            if not sessions:
                known = ", ".join(str(one.id) for one in drive.sessions)
                raise BadUsage(
                    f"there is no session {args.session} in {args.source}",
                    "newer sessions have overwritten it, or the number is mistyped",
                    f"use one of {known}",
                )
        written = export(drive, sessions, args.output, lambda fraction: show(0.2 + 0.8 * fraction))
    tell_origin(drive)
    if args.json:
        told = {
            "file": str(written.path),
            "format": written.path.suffix.lower().lstrip("."),
            "bytes": written.path.stat().st_size,
            "rows": written.rows,
            "sessions": [one.id for one in sessions],
            "columns": {name: unit for one in sessions for name, unit in one.units.items()},
        }
        print(json.dumps(told))
    else:
        count = "1 session" if len(sessions) == 1 else f"{len(sessions)} sessions"
        print(f"{written.path}: {written.rows} rows of {count}")
    return 0
