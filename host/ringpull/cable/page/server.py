"""The server of the live page."""

from __future__ import annotations

import json

from ringpull.cable.page.feed import Seen
from ringpull.cable.page.follower import Follower
from ringpull.cable.page.page import page
from ringpull.view.local import LocalHandler, LocalServer, Refused

ALIVE_S = 5.0  # so often at least something is sent, so that a page that was left is noticed


class Server(LocalServer):
    """Serves what a follower hears; `port` 0 takes any free one."""

    def __init__(self, follower: Follower, port: int = 0) -> None:
        self.follower = follower
        super().__init__(Handler, port)


class Handler(LocalHandler):
    """One connection."""

    server: Server

    def gets(self) -> dict:
        return {"/": self._page, "/news": self._news, "/report": self._report}

    def _page(self, _: dict) -> None:
        self.send(page().encode(), "text/html; charset=utf-8")

    def _news(self, _: dict) -> None:
        """Everything that is known, and then what comes, as server-sent events."""
        self.close_connection = True
        self.send_head("text/event-stream", Connection="close")
        feed = self.server.follower.feed
        seen = Seen()
        while not feed.ended:
            told, seen = feed.news(seen, ALIVE_S)
            self.wfile.write(b"data: " + json.dumps(told).encode() + b"\n\n")

    def _report(self, _: dict) -> None:
        make = self.server.follower.report
        if make is None:
            raise Refused(404, "no pull has been judged yet")
        self.send(make(), "text/html; charset=utf-8")
