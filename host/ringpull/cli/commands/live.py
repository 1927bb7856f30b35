"""ringpull live: the logger's newest values, while it records."""

from __future__ import annotations

import argparse
import json
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

from ringpull.cli.options import add_port, between

if TYPE_CHECKING:
    from ringpull.cable.newest import Newest, Now

HELP = "the logger's values now, over USB, while it records"
EXAMPLE = "ringpull live --page"

RATE_HZ = 10.0


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_port(parser)
    parser.add_argument("--json", action="store_true", help="print each reading as a line of JSON, for scripts")
    parser.add_argument(
        "--hz", type=between(0.2, 20), default=RATE_HZ, metavar="N", help="readings a second, 0.2 to 20 (default: 10)"
    )
    parser.add_argument(
        "--page",
        action="store_true",
        help="on a page in the browser: large figures, the last two minutes, each marked pull judged as it ends",
    )
    parser.add_argument(
        "-o",
        "--output",
        type=Path,
        metavar="CARD",
        help="with --page: folder that the pulls are fetched into (default: card)",
    )
    parser.add_argument("--no-browser", action="store_true", help="with --page: print the address only")
    parser.add_argument("--for", type=between(0.1, 86400), dest="for_s", metavar="S", help="stop after so many seconds")


def run(args: argparse.Namespace) -> int:
    from ringpull.cable import link as links
    from ringpull.cable.newest import Newest
    from ringpull.errors import BadUsage

    if args.page:
        return _serve(args)
    if args.output or args.no_browser:
        raise BadUsage("-o and --no-browser go with --page", "--page was left out", "give it too, or leave them out")
    with links.connect(args.port) as link:
        link.set_clock()
        newest = Newest(link)
        show = _json if args.json else None
        try:
            if show:
                _go(newest, args, show)
            else:
                _screen(newest, args)
        except KeyboardInterrupt:  # the way to end it
            pass
    return 0


def _go(newest: Newest, args: argparse.Namespace, show) -> None:
    from ringpull.cable.newest import Newest

    began = due = time.monotonic()
    before_s = 0.0
    while args.for_s is None or time.monotonic() - began < args.for_s:
        now = newest.ask()
        if now is not None and now.time_s < before_s:  # the logger has begun again
            newest, now = Newest(newest.link), None
            before_s = 0.0
        if now is not None:
            before_s = now.time_s
            show(newest, now)
        due = max(due + 1 / args.hz, time.monotonic() - 1 / args.hz)  # one late reading is caught up, not more
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


def _screen(newest: Newest, args: argparse.Namespace) -> None:
    from rich.live import Live

    from ringpull.cli import live_page
    from ringpull.cli.terminal import console

    screen = console()
    page = live_page.Page(newest)
    with Live(console=screen, auto_refresh=False, screen=screen.is_terminal, transient=True) as live:

        def show(newest: Newest, now: Now) -> None:
            nonlocal page
            if page.newest is not newest:
                page = live_page.Page(newest)
            live.update(page.of(now), refresh=True)

        _go(newest, args, show)


def _serve(args: argparse.Namespace) -> int:
    """The page, until Ctrl-C."""
    import threading
    import webbrowser

    from ringpull.cable import link as links
    from ringpull.cable.page.feed import Feed
    from ringpull.cable.page.follower import Follower
    from ringpull.cable.page.server import Server

    links.connect(args.port).close()  # what is wrong at the beginning is told here, later on the page
    follower = Follower(Feed(), lambda: links.connect(args.port), args.output or Path("card"), args.hz)
    server = Server(follower)
    follower.start()
    try:
        if args.json:
            print(json.dumps({"url": server.url}), flush=True)
        else:
            print(f"{server.url} (until you press ctrl-C)", flush=True)
        if not args.no_browser:
            webbrowser.open(server.url)
        if args.for_s is not None:
            ending = threading.Timer(args.for_s, server.shutdown)
            ending.daemon = True
            ending.start()
        server.serve_forever()
    except KeyboardInterrupt:  # the way to end it
        pass
    finally:
        follower.stop()
        server.server_close()
    return 0
