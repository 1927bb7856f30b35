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
    parser.add_argument(
        "--check", action="store_true", help="make nothing: test whether the card is fit, in files that go again"
    )
    parser.add_argument(
        "--whole", action="store_true", help="with --check: write all of its free space, which can take hours"
    )
    parser.add_argument("--strict", action="store_true", help="with --check: exit code 1 where the card is not fit")
    parser.add_argument("--json", action="store_true", help="print what was written, or found, as JSON")


def _size(text: str) -> int:
    if not text.isdecimal() or not 1 <= int(text) <= 2048:
        raise argparse.ArgumentTypeError(f"{text} is not a whole number of megabytes from 1 to 2048")
    return int(text)


def run(args: argparse.Namespace) -> int:
    import json

    if args.check:
        return _check(args)
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


def _check(args: argparse.Namespace) -> int:
    import json
    import sys

    from ringpull.cli.terminal import progress
    from ringpull.device import card_check
    from ringpull.errors import BadUsage, CannotWrite
    from ringpull.files.own_room import OwnRoom

    if not args.card.is_dir():
        raise BadUsage(
            f"{args.card} is not a folder", "the card is not mounted there", "give the folder the card shows up as"
        )
    print(
        "CAUTION: a card that is not as large as it says may put what is written into its free space over what lies on "
        "it. Copy what you want to keep first.",
        file=sys.stderr,
    )
    try:
        with progress("checking") as show:
            found = card_check.check(OwnRoom(args.card), args.whole, show)
    except KeyboardInterrupt:
        raise BadUsage(
            "the check was interrupted", "Ctrl-C was pressed", "its files are removed; start it again for an answer"
        ) from None
    except OSError as error:
        raise CannotWrite(
            f"{args.card} could not be written: {error.strerror or error}",
            "the card is write-protected, was taken out, or is worn out",
            "look at its lock and its seat, then check it again",
        ) from None
    print(json.dumps(found.as_json()) if args.json else "\n".join(_check_lines(found)))
    return 1 if args.strict and found.reasons else 0


def _check_lines(found) -> list[str]:
    from ringpull.device.card_check import size_words
    from shared_math import proving

    most = proving.WORST_WRITE_US // 1000
    out = [
        f"write times  worst {found.worst_ms:.1f} ms, mean {found.mean_ms:.2f} ms of {len(found.write_s)}, "
        f"limit {most} ms",
        f"size         {size_words(found.right)} of {size_words(found.written)} written came back, spread over "
        f"{size_words(found.spread)} of {size_words(found.free)} free",
        f"formatted    {found.system or 'not told by this system'}",
    ]
    if not found.proves:
        out.append(
            "             perhaps read back from this PC's memory, not from the card: check it on Linux or macOS"
        )
    if not found.whole:
        out.append("             pieces alone were written; --whole writes everything: the certain proof")
    if not found.reasons:
        return [*out, "It is fit for the logger, as far as this PC and its card reader show."]
    return [*out, *(f"not fit: {one}" for one in found.reasons), "What to do: use another card."]
