"""ringpull prepare: make the ring files on a card and copy the configuration to it."""

from __future__ import annotations

import argparse
from pathlib import Path

HELP = "make the ring files on a card and copy the configuration to it"
EXAMPLE = "ringpull prepare card --config logger.json"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("card", type=Path, metavar="CARD", help="folder or drive of the card")
    parser.add_argument(
        "--config",
        type=Path,
        metavar="FILE",
        help="the logger.json to check and copy to the card; without one the logger records raw counts of every input",
    )
    parser.add_argument("--drive-mb", type=_size, default=64, metavar="MB", help="size of drive.rpl (default: 64)")
    parser.add_argument("--pulls-mb", type=_size, default=8, metavar="MB", help="size of pulls.rpl (default: 8)")
    parser.add_argument("--json", action="store_true", help="print what was written as JSON")


def _size(text: str) -> int:
    if not text.isdecimal() or not 1 <= int(text) <= 2048:
        raise argparse.ArgumentTypeError(f"{text} is not a whole number of megabytes from 1 to 2048")
    return int(text)


def run(args: argparse.Namespace) -> int:
    import json

    from ringpull.cli.terminal import progress
    from ringpull.device.judgement import judge
    from ringpull.device.prepare import hours, prepare
    from ringpull.dryrun.run import parse_config
    from shared_math import config

    with progress("preparing") as show:
        written = prepare(args.card, args.config, args.drive_mb, args.pulls_mb, show)
    sizes = {path.name: path.stat().st_size for path in written}
    settings = parse_config(args.config)[0] if args.config else config.DEFAULT
    least_h, usual_h = hours(config.defaults(settings), args.drive_mb)
    judged = judge(settings) if args.config else None
    if args.json:
        more = {"hours_least": least_h, "hours_usual": usual_h, "judgement": judged.sentence if judged else None}
        print(json.dumps({"card": str(args.card), "bytes": sizes, **more}))
        return 0
    for name, size in sizes.items():
        print(f"{args.card / name}: {size} bytes")
    print(f"Room for about {_said(usual_h)} of driving, at least {_said(least_h)}; then the oldest is overwritten.")
    if judged is None:
        print(
            "The card has no logger.json: the logger will record raw counts of every input and nothing can be judged."
        )
        print("  Put one beside the ring files at any time; ringpull setup makes it.")
    elif not judged.works or judged.first:
        print(f"{args.config.name} {judged.sentence}: ringpull check {args.config}")
    print("Next: eject the card, put it into the logger and switch on. The lamp flashes twice every two seconds while")
    print("the logger starts, then once every two seconds while it records.")
    return 0


def _said(hours: float) -> str:
    """Hours as text, rounded to what the estimate is good for."""
    return f"{hours * 60:.0f} minutes" if hours < 1 else f"{hours:.0f} hour{'s' if hours >= 1.5 else ''}"
