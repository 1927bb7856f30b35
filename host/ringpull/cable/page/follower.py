"""Follows the logger into a feed: values, pulls as they end, and a cable that comes out and goes in again."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from ringpull.cable import fetch
from ringpull.cable.link import Link
from ringpull.cable.newest import Newest
from ringpull.cable.page import told
from ringpull.cable.page.feed import Feed
from ringpull.cable.watch import Watch, judge
from ringpull.errors import BadUsage, CannotWrite, RingpullError

AGAIN_S = 1.0
LOOK_S = 0.2


class Follower(threading.Thread):
    """connect: gives a link, as link.connect does. folder: where pulls are fetched to. hz: readings a second."""

    def __init__(self, feed: Feed, connect: Callable[[], Link], folder: Path, hz: float) -> None:
        super().__init__(daemon=True)
        self.feed, self.connect, self.folder, self.period_s = feed, connect, folder, 1 / hz
        self.report: Callable[[], bytes] | None = None  # makes the report of the pulls that were judged
        self._watch: Watch | None = None
        self._over = threading.Event()
        self._judging = ThreadPoolExecutor(1)
        self._judging.submit(_load)

    def stop(self) -> None:
        """Let go of the logger."""
        self._over.set()
        self.join()
        self._judging.shutdown(wait=False, cancel_futures=True)
        self.feed.end()

    def run(self) -> None:
        while not self._over.is_set():
            try:
                with self.connect() as link:
                    link.set_clock()
                    while not self._over.is_set():
                        self._follow(link)
            except (RingpullError, ValueError) as error:
                if not isinstance(error, RingpullError):
                    error = BadUsage("the logger's setup can't be read", "its firmware is another", "update both")
                self.feed.trouble([error.what, error.cause, error.step])
                self._over.wait(AGAIN_S)

    def _follow(self, link: Link) -> None:
        """One session, to its end."""
        newest = Newest(link)
        session = told.Session(newest)
        self.feed.begin(session.about())
        if self._watch is None:
            self._watch = Watch(link.state())
        due = time.monotonic()
        look = before_s = 0.0
        while not self._over.is_set():
            now = newest.ask()
            if now is not None:
                if now.time_s < before_s:
                    return  # the logger has begun again
                before_s = now.time_s
                self.feed.add(session.reading(now))
                if time.monotonic() >= look and self._watch.worth_asking(newest.session, now.mark):
                    self._look(link)
                    look = time.monotonic() + LOOK_S
            due = max(due + self.period_s, time.monotonic() - self.period_s)  # one late reading is caught up, not more
            self._over.wait(max(0.0, due - time.monotonic()))

    def _look(self, link: Link) -> None:
        assert self._watch is not None
        if not self._watch.ended(link.state()):
            return
        try:
            fetch.fetch(link, self.folder, fetch.LAST)
        except (BadUsage, CannotWrite) as error:
            self.feed.judged(told.no_pulls(error))
            return
        self._judging.submit(self._judge)

    def _judge(self) -> None:
        from ringpull.report.page import page

        try:
            drive, answer = judge(self.folder)
        except RingpullError as error:
            self.feed.judged(told.no_pulls(error))
            return
        self.report = lambda: page(drive, answer).encode("utf-8", "replace")
        self.feed.judged(told.pulls(drive, answer, self.folder))


def _load() -> None:
    """What judging takes to load is loaded before the first pull ends."""
    import ringpull.analysis.answer  # noqa: F401
