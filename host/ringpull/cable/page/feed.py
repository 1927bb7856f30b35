"""What the page is told, kept for whoever opens it later."""

from __future__ import annotations

import threading
from collections import deque
from dataclasses import dataclass

KEPT_S = 120.0  # of readings


@dataclass(frozen=True)
class Seen:
    """How much of a feed a page has been given."""

    about: int = 0
    readings: int = 0
    pulls: int = 0
    trouble: int = 0


class Feed:
    """Written by one thread, read by one for each page."""

    def __init__(self) -> None:
        self._news = threading.Condition()
        self._about: dict | None = None
        self._readings: deque[dict] = deque()
        self._pulls = ""
        self._trouble: list[str] | None = None
        self._counts = Seen()
        self.ended = False

    def begin(self, about: dict) -> None:
        """Another session: what is kept of the one before goes."""
        with self._news:
            self._about = about
            self._readings.clear()
            self._count(about=1)

    def add(self, reading: dict) -> None:
        """One reading; the logger answers, so whatever was wrong is over."""
        with self._news:
            self._readings.append(reading)
            while reading["time_s"] - self._readings[0]["time_s"] > KEPT_S:
                self._readings.popleft()
            if self._trouble is not None:
                self._trouble = None
                self._count(trouble=1)
            self._count(readings=1)

    def judged(self, pulls: str) -> None:
        """The pulls so far and their verdict, HTML."""
        with self._news:
            self._pulls = pulls
            self._count(pulls=1)

    def trouble(self, lines: list[str]) -> None:
        """Why there are no values: what is wrong, likely cause, what to do."""
        with self._news:
            if lines != self._trouble:
                self._trouble = lines
                self._count(trouble=1)

    def end(self) -> None:
        """Nothing more comes."""
        with self._news:
            self.ended = True
            self._news.notify_all()

    def news(self, seen: Seen, wait_s: float) -> tuple[dict, Seen]:
        """(what `seen` does not hold yet, {} where nothing came in `wait_s`; what is seen then)."""
        with self._news:
            self._news.wait_for(lambda: self.ended or self._counts != seen, wait_s)
            now = self._counts
            told: dict = {}
            if now.about != seen.about:
                told["about"] = self._about
            fresh = len(self._readings) if "about" in told else min(now.readings - seen.readings, len(self._readings))
            if fresh:
                told["readings"] = list(self._readings)[-fresh:]
            if now.pulls != seen.pulls:
                told["pulls"] = self._pulls
            if now.trouble != seen.trouble:
                told["trouble"] = self._trouble
            return told, now

    def _count(self, **more: int) -> None:
        counts = vars(self._counts)
        self._counts = Seen(**{name: count + more.get(name, 0) for name, count in counts.items()})
        self._news.notify_all()
