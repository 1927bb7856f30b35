"""ringpull fetch: pulls, or the whole card, over USB while the logger records."""

from __future__ import annotations

import argparse
import json
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

from ringpull.cli.options import add_port

if TYPE_CHECKING:
    from ringpull.cable.link import Link

HELP = "marked pulls, or the whole card, over USB while the logger records"
EXAMPLE = "ringpull fetch -o card"

LOOK_S = 0.2


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_port(parser)
    parser.add_argument(
        "-o",
        "--output",
        type=Path,
        default=Path("card"),
        metavar="CARD",
        help="folder that is then like the card (default: card); what it holds of this card is not fetched again",
    )
    what = parser.add_mutually_exclusive_group()
    what.add_argument("--last", action="store_true", help="the last marked pull alone")
    what.add_argument("--all", action="store_true", help="all that was recorded: minutes for a full card")
    what.add_argument("--watch", action="store_true", help="wait for marked pulls, fetch each as it ends and judge it")
    parser.add_argument("--json", action="store_true", help="print what was fetched, or each answer, as a line of JSON")
    parser.add_argument("--pulls", type=int, metavar="N", help="with --watch: stop after so many pulls")


def run(args: argparse.Namespace) -> int:
    from ringpull.cable import fetch
    from ringpull.cable import link as links
    from ringpull.cli.terminal import progress
    from ringpull.errors import BadUsage

    if args.pulls is not None and not args.watch:
        raise BadUsage("--pulls goes with --watch", "--watch was left out", "give both, or neither")
    what = fetch.LAST if args.last else fetch.EVERYTHING if args.all else fetch.MARKED
    with links.connect(args.port) as link:
        link.set_clock()
        if args.watch:
            return watch(link, args)
        with progress("fetching") as show:
            done = fetch.fetch(link, args.output, what, show)
    if args.json:
        print(json.dumps({"card": str(args.output), "ring": done.ring, "blocks": done.blocks, "held": done.held}))
        return 0
    print(f"{args.output}: ring {done.ring}, {done.blocks} blocks fetched, {done.held} were there already")
    if not done.blocks and not done.held and what != fetch.EVERYTHING:
        print("No pull has been marked on this card. --all fetches what was recorded all the same.")
    else:
        print(f"next: ringpull report {args.output} -o report.html")
    return 0


def watch(link: Link, args: argparse.Namespace) -> int:
    """Judge every pull as soon as its mark has ended and its last seconds are copied."""
    from ringpull.cable import fetch
    from ringpull.cable.watch import Watch, judge
    from ringpull.cli.answer_lines import answer_lines

    watching = Watch(link.state())
    judged = 0
    print("Waiting for a marked pull. Ctrl-C ends it.", file=sys.stderr)
    try:
        while args.pulls is None or judged < args.pulls:
            if not watching.ended(link.state()):
                time.sleep(LOOK_S)
                continue
            began = time.monotonic()
            fetch.fetch(link, args.output, fetch.LAST)
            _, found = judge(args.output)
            print(json.dumps(found.as_json()) if args.json else "\n".join(answer_lines(found)))
            if not args.json:
                print(f"(fetched and judged in {time.monotonic() - began:.1f} s)")
            sys.stdout.flush()
            judged += 1
    except KeyboardInterrupt:  # the way to end it
        pass
    return 0
