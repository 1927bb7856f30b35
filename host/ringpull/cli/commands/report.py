"""ringpull report: write the whole answer as one HTML file that works offline."""

from __future__ import annotations

import argparse
from pathlib import Path

from ringpull.cli.options import add_ring, add_target, tell_origin, with_target
from ringpull.files.outputs import different, output_file, whole

HELP = "write the whole answer as one HTML file that works offline"
EXAMPLE = "ringpull report card -o report.html"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("source", type=Path, metavar="SRC", help="ring file, folder of segments, or card folder")
    add_ring(parser)
    parser.add_argument("-o", "--output", type=output_file, required=True, metavar="OUT.html", help="the file to write")
    add_target(parser)
    parser.add_argument("--against", type=Path, metavar="SRC", help="the drive before a change, to compare with")
    parser.add_argument("--json", type=output_file, metavar="FILE", help="write the answer as JSON as well")
    parser.add_argument("--png", type=Path, metavar="DIR", help="write the pictures as PNG files as well")
    parser.add_argument(
        "--pdf", type=output_file, metavar="FILE", help="write the customer's page and the pictures as PDF as well"
    )
    parser.add_argument("--strict", action="store_true", help="exit code 1 if the verdict is 'attention'")


def run(args: argparse.Namespace) -> int:
    import json

    import ringpull
    from ringpull.analysis import car
    from ringpull.analysis.answer import answer
    from ringpull.analysis.cells import drive_comparison
    from ringpull.analysis.cells.drive_comparison import Side
    from ringpull.analysis.judge.verdict import ATTENTION
    from ringpull.cli.answer_lines import verdict_lines
    from ringpull.cli.terminal import progress
    from ringpull.report import write_report
    from ringpull.report.against import Against
    from ringpull.report.data import Packing
    from ringpull.wording import calibrated
    from ringpull.wording import car as words

    if args.png or args.pdf:  # imported before the work begins: the plotting library may be missing
        from ringpull.report import pictures
    different(args.output, args.json, args.pdf)
    with progress("report") as show:
        drive = with_target(args, ringpull.read(args.source, lambda done: show(0.4 * done), args.ring))
        packing = Packing(drive)
        found = answer(drive)
        show(0.7)
        against = None
        if args.against:
            before = with_target(args, ringpull.read(args.against))
            compared = drive_comparison.of_mixture(Side(before), Side(drive))
            against = Against(before, answer(before), compared)
        args.output.parent.mkdir(parents=True, exist_ok=True)
        with whole(args.output) as fresh:
            write_report(drive, found, fresh, against, packing)
        if args.png:
            pictures.write_pngs(drive, found, args.png)
        if args.pdf:
            args.pdf.parent.mkdir(parents=True, exist_ok=True)
            with whole(args.pdf) as fresh:
                pictures.write_pdf(drive, found, fresh, against)
        if args.json:
            args.json.parent.mkdir(parents=True, exist_ok=True)
            with whole(args.json) as fresh:
                inputs = [calibrated.as_json(one) for one in calibrated.inputs(drive.sessions[-1].config)]
                said = [car.of_session(session, []) for session in drive.sessions]
                more = {"inputs": inputs, "bus": [words.as_json(one) for one in said if one]}
                fresh.write_text(json.dumps(found.as_json() | more, indent=1) + "\n", encoding="utf-8")
        show(1.0)
    tell_origin(drive)
    print(args.output)
    print("\n".join(verdict_lines(found)))
    return 1 if args.strict and found.verdict == ATTENTION else 0
