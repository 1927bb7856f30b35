"""ringpull live: the logger's newest values, while it records."""

from __future__ import annotations

import argparse
import json
import sys
import time
from typing import TYPE_CHECKING

from ringpull.cli.options import add_port, between

if TYPE_CHECKING:
    from ringpull.cable.newest import Newest, Now

HELP = "the logger's values now, over USB, while it records"
EXAMPLE = "ringpull live"

RATE_HZ = 10.0


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_port(parser)
    parser.add_argument("--json", action="store_true", help="print each reading as a line of JSON, for scripts")
    parser.add_argument(
        "--hz", type=between(0.2, 20), default=RATE_HZ, metavar="N", help="readings a second, 0.2 to 20 (default: 10)"
    )
    parser.add_argument("--for", type=between(0.1, 86400), dest="for_s", metavar="S", help="stop after so many seconds")


def run(args: argparse.Namespace) -> int:
    from ringpull.cable import link as links
    from ringpull.cable.newest import Newest

    with links.connect(args.port) as link:
        link.set_clock()
        newest = Newest(link)
        show = _json if args.json else None
        try:
            if show:
                _go(newest, args, show)
            else:
                _page(newest, args)
        except KeyboardInterrupt:  # the way to end it
            pass
    return 0


def _go(newest: Newest, args: argparse.Namespace, show) -> None:
    began = due = time.monotonic()
    while args.for_s is None or time.monotonic() - began < args.for_s:
        now = newest.ask()
        if now is not None:
            show(newest, now)
        due = max(due + 1 / args.hz, time.monotonic())  # after a slow answer no hurry
        time.sleep(max(0.0, due - time.monotonic()))


def as_json(newest: Newest, now: Now) -> dict:
    """One reading; null where a channel has no value."""
    return {
        "session": newest.session,
        "time_s": round(now.time_s, 4),
        "values": {name: None if value != value else round(value, 5) for name, value in now.values.items()},
        "states": now.states,
        "target": now.target,
        "pull": now.open_pull,
        "lean": now.lean,
        "fault": now.fault,
        "lost_rows": now.lost,
    }


def _json(newest: Newest, now: Now) -> None:
    print(json.dumps(as_json(newest, now)))
    sys.stdout.flush()


def _page(newest: Newest, args: argparse.Namespace) -> None:
    from rich.live import Live

    from ringpull.cli import live_page
    from ringpull.cli.terminal import console

    screen = console()
    page = live_page.Page(newest)
    with Live(console=screen, auto_refresh=False, screen=screen.is_terminal, transient=True) as live:
        _go(newest, args, lambda _newest, now: live.update(page.of(now), refresh=True))
