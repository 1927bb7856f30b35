"""ringpull view: show long drives on a local page."""

from __future__ import annotations

import argparse
from pathlib import Path

from ringpull.cli.options import add_ring, tell_origin

HELP = "show drives of any length on a local page in the browser"
EXAMPLE = "ringpull view card"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "source",
        type=Path,
        nargs="+",
        metavar="SRC",
        help="ring file, folder of segments, or card folder; may be several",
    )
    add_ring(parser)
    parser.add_argument("--port", type=int, default=0, help="port of the page (default: any free port)")
    parser.add_argument("--no-browser", action="store_true", help="print the address and open no browser")
    parser.add_argument("--json", action="store_true", help="print address and drives as JSON once the page is ready")


def run(args: argparse.Namespace) -> int:
    import json
    import sys
    import webbrowser

    from ringpull.view.server import Server
    from ringpull.view.shelf import Shelved

    shelf = [Shelved(source, args.ring) for source in args.source]
    tell_origin(*(one.drive for one in shelf))
    server = Server(shelf, args.port)
    sys.setswitchinterval(0.0005)  # seconds: the threads that take in decoded rows must not delay a request
    try:
        for one in shelf:
            one.start()
        if args.json:
            drives = [[s.id for s in one.drive.sessions] for one in shelf]
            print(json.dumps({"url": server.url, "sessions": drives}), flush=True)
        else:
            print(f"{server.url} (until you press ctrl-C)", flush=True)
        if not args.no_browser:
            webbrowser.open(server.url)
        server.serve_forever()
    except KeyboardInterrupt:
        pass
    finally:
        server.server_close()
    return 0
