"""ringpull dryrun: the firmware on recorded signals."""

from __future__ import annotations

import argparse
from pathlib import Path

HELP = "run the firmware on recorded signals, as it would run in the car"
EXAMPLE = "ringpull dryrun --config logger.json --volts volts.csv --edges edges.csv --buttons buttons.csv -o card"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--config", type=Path, required=True, metavar="FILE", help="logger.json, whatever board it names"
    )
    parser.add_argument(
        "--volts",
        type=Path,
        required=True,
        metavar="CSV",
        help="t_s, and a column for each analog channel, headed by its name: volts at the terminal",
    )
    parser.add_argument(
        "--edges",
        type=Path,
        metavar="CSV",
        help="t_s,input: a line for each edge, input being the name of a pulse channel; for pulse_width also level, 1 "
        "where the line rises and 0 where it falls",
    )
    parser.add_argument("--buttons", type=Path, metavar="CSV", help="t_s,event: press and release of the button")
    parser.add_argument(
        "-o", "--output", type=Path, required=True, metavar="CARD", help="folder for what the card holds"
    )
    parser.add_argument(
        "--slow-card",
        choices=("hard", "soft"),
        help="every write of the card takes up to half a second at random, while the board goes on sampling (hard, as "
        "boards rp2 and rp2350 do) or not (soft, as esp32 and generic); 'ringpull info' then tells what was lost",
    )
    parser.add_argument(
        "--replace", action="store_true", help="replace what a dry run with another configuration left in CARD"
    )
    parser.add_argument("--seed", type=_seed, default=1, help="of the converter's noise (default: 1)")
    parser.add_argument("--json", action="store_true", help="print the result as JSON")


def _seed(text: str) -> int:
    if not text.isdecimal():
        raise argparse.ArgumentTypeError(f"{text} is not a whole number of 0 or more")
    return int(text)


def run(args: argparse.Namespace) -> int:
    import json
    import sys
    import time

    from ringpull.cli.terminal import progress
    from ringpull.dryrun.run import dry_run

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
        )
    took_s = time.perf_counter() - began
    for name in result.unused:
        print(f"note: column {name!r} is not an analog channel of the configuration and was not used", file=sys.stderr)
    for name in result.silent:
        print(f"note: channel {name!r} of the configuration has no column or edge, and reads 0", file=sys.stderr)
    notes = {"columns_not_used": result.unused, "channels_without_signal": result.silent}
    if args.json:
        print(json.dumps({"card": str(result.card), "simulated_s": result.simulated_s, "took_s": took_s, **notes}))
    else:
        print(f"{result.card}: {result.simulated_s:.1f} s of signals, run in {took_s:.1f} s")
        print(f"next: ringpull pulls {result.card}")
    return 0
