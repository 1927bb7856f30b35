"""ringpull dryrun: the firmware on recorded signals."""

from __future__ import annotations

import argparse
from pathlib import Path

HELP = "run the firmware on recorded signals, as it would run in the car"
EXAMPLE = "ringpull dryrun --config logger.json --volts volts.csv --edges edges.csv --buttons buttons.csv -o card"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--config", type=Path, required=True, metavar="FILE", help="a logger.json; it may be for any board"
    )
    parser.add_argument(
        "--volts",
        type=Path,
        required=True,
        metavar="CSV",
        help="volts at the terminals: a column t_s and one for each analog channel, headed by the channel's name",
    )
    parser.add_argument(
        "--edges",
        type=Path,
        metavar="CSV",
        help="pulses: columns t_s and input (the name of the pulse channel), one line for each edge; a pulse_width "
        "channel also needs a column level: 1 where the line rises, 0 where it falls",
    )
    parser.add_argument(
        "--buttons", type=Path, metavar="CSV", help="the button: columns t_s and event (press or release)"
    )
    parser.add_argument(
        "-o",
        "--output",
        type=Path,
        required=True,
        metavar="CARD",
        help="folder that will hold what the card would hold",
    )
    parser.add_argument(
        "--slow-card",
        choices=("hard", "soft"),
        help="make each write to the card take up to half a second, at random. Meanwhile the board goes on sampling "
        "(hard: boards rp2 and rp2350) or does not (soft: esp32 and generic). 'ringpull info' then shows what was lost",
    )
    parser.add_argument(
        "--replace",
        action="store_true",
        help="replace the drive that an earlier dry run left in CARD, and the remarks about it",
    )
    parser.add_argument("--seed", type=_seed, default=1, help="seed of the converter's noise (default: 1)")
    parser.add_argument(
        "--strict", action="store_true", help="exit code 1 if a channel has no signal or a column no channel"
    )
    parser.add_argument("--json", action="store_true", help="print the result as JSON")


def _seed(text: str) -> int:
    if not text.isdecimal():
        raise argparse.ArgumentTypeError(f"{text} is not a whole number of 0 or more")
    return int(text)


def _keep_remarks(card: Path, replace: bool) -> None:
    """Remarks are about the drive that would be replaced: BadUsage, or with `replace` they go with it."""
    from ringpull.errors import BadUsage
    from ringpull.files.remarks import notes_path, times_path

    for path in (notes_path(card), times_path(card)) if card.is_dir() else ():
        if path.is_file() and not replace:
            raise BadUsage(
                f"{path} holds remarks about the drive in that folder",
                "the folder was used for another dry run",
                "give another folder with -o, or replace drive and remarks with --replace",
            )
        path.unlink(missing_ok=True)


def run(args: argparse.Namespace) -> int:
    import json
    import sys
    import time

    from ringpull.cli.terminal import progress
    from ringpull.dryrun.run import dry_run

    _keep_remarks(args.output, args.replace)
    began = time.perf_counter()
    with progress("dry run") as show:
        result = dry_run(
            args.config,
            args.volts,
            args.edges,
            args.buttons,
            args.output,
            args.seed,
            show,
            slow_card=args.slow_card,
            replace=args.replace,
            again=False,
        )
    took_s = time.perf_counter() - began
    for name in result.unused:
        print(f"note: column {name!r} is the name of no analog channel of the configuration: not used", file=sys.stderr)
    for name in result.silent:
        print(
            f"note: channel {name!r} of the configuration has no column or edges: it reads 0 all along", file=sys.stderr
        )
    for name in result.on_bus:
        print(
            f"note: channel {name!r} comes from the car's bus, which is empty here: it has no values", file=sys.stderr
        )
    silent = result.silent + result.on_bus
    notes = {"columns_not_used": result.unused, "channels_without_signal": silent}
    if args.json:
        print(json.dumps({"card": str(result.card), "simulated_s": result.simulated_s, "took_s": took_s, **notes}))
    else:
        print(f"{result.card}: {result.simulated_s:.1f} s of signals, run in {took_s:.1f} s")
        print(f"next: ringpull pulls {result.card}")
    return 1 if args.strict and (result.unused or silent) else 0
