"""ringpull rejudge: drives of a shelf judged again."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from ringpull.cli.options import add_shelf_work

if TYPE_CHECKING:
    from ringpull.files.configuration import Configuration

HELP = "judge the drives of a shelf again: by this program's analysis, or by a configuration that was mended"
EXAMPLE = "ringpull rejudge shelf --car hill --config logger.json"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("shelf", type=Path, metavar="SHELF", help="folder of the shelf")
    parser.add_argument("--car", metavar="NAME", help="only this car's drives")
    parser.add_argument(
        "--config", type=Path, metavar="FILE", help="a mended logger.json of this car, kept beside its ring files"
    )
    add_shelf_work(parser)
    parser.add_argument("--json", action="store_true", help="print what became of each drive as JSON")


def run(args: argparse.Namespace) -> int:
    import json

    from ringpull.cli import terminal
    from ringpull.cli.commands.keep import Failures, as_json, tell
    from ringpull.shelf import calibrations
    from ringpull.shelf.rejudge import refuse_other_loggers, wanted
    from ringpull.shelf.work import rejudge_all

    calibration = None
    config = checked(args)
    rows = wanted(args.shelf, args.car)
    refuse_nothing(args, rows)
    if config is not None:
        refuse_other_loggers(args.shelf, rows, config)
        calibration = calibrations.put(args.shelf, args.car, config)
    worst, out, failures = 0, [], Failures()
    with terminal.progress("judging") as show:
        for at, one in enumerate(rejudge_all(args.shelf, rows, calibration, args.jobs, args.cluster), start=1):
            out.append(one)
            worst = max(worst, tell(one, args.json, failures))
            show(at / len(rows))
    failures.tell_rest()
    if args.json:
        print(json.dumps(as_json(out), indent=1))
    return worst


def checked(args: argparse.Namespace) -> Configuration | None:
    """The configuration that was given."""
    from ringpull.dryrun.run import load_config
    from ringpull.errors import BadUsage

    if args.config is None:
        return None
    if args.car is None:
        raise BadUsage(
            "a configuration is one car's, and none is named", "--car is missing", "add --car and the car's name"
        )
    return load_config(args.config)[0]


def refuse_nothing(args: argparse.Namespace, rows: list) -> None:
    """BadUsage where there is nothing to judge."""
    from ringpull.errors import BadUsage

    if not rows:
        raise BadUsage(
            f"{args.shelf} holds no drive" + ("" if args.car is None else f" of the car {args.car!r}"),
            "the car's name is a slip, or nothing was kept yet",
            f"see what is there: ringpull kept {args.shelf}",
        )
