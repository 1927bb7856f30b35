"""A day in the local page: how long each request takes while the drive is moved through, cold and warm.

The drive is the demo's pulls over and over (long_drives.py): 200 rows a second, 12 channels, 1944 pulls. The command
runs in a process of its own, as a browser would find it. Where rows have to be decoded first, a request is answered at
once with what there is and asked again, as the page does: "whole" is the time until all of it is there.
"""

from __future__ import annotations

import http.client
import json
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from urllib.parse import urlsplit

import long_drives
import numpy as np

DAY_S = 24 * 3600.0
AGAIN_S = 0.01  # as in remote.js
WIDTHS_S = (14400, 3600, 600, 160, 60, 8, 1)
PLACES, STEPS = 12, 10
LIMIT_MS, WHOLE_MS = 5, 50


class Asked:
    """One connection to the local page, and how long each answer took."""

    def __init__(self, url: str) -> None:
        self.host = urlsplit(url).netloc
        self.head = {"Host": self.host, "Cookie": ""}
        self.connection = http.client.HTTPConnection(self.host, timeout=60)
        self.took: list[float] = []
        self.whole: list[float] = []
        self.answer, self.status = b"", 0
        self.get("/?" + urlsplit(url).query)  # its token becomes a cookie
        self.took.clear()

    def get(self, path: str) -> None:
        began = time.perf_counter()
        self.connection.request("GET", path, headers=self.head)
        answer = self.connection.getresponse()
        self.head["Cookie"] = (answer.getheader("Set-Cookie") or self.head["Cookie"]).partition(";")[0]
        self.answer, self.status = answer.read(), answer.status
        self.took.append(1e3 * (time.perf_counter() - began))

    def _until(self, path: str, fine: Callable[[], bool]) -> None:
        began = time.perf_counter()
        self.get(path)
        while not fine():
            time.sleep(AGAIN_S)
            self.get(path)
        self.whole.append(1e3 * (time.perf_counter() - began))

    def window(self, start_s: float, size_s: float) -> None:
        path = f"/window?drive=0&session=1&start={start_s}&end={start_s + size_s}&width=1200"
        self._until(path, lambda: json.loads(self.answer[4 : 4 + int.from_bytes(self.answer[:4], "little")])["fine"])

    def row(self, time_s: float) -> None:
        self._until(f"/row?drive=0&session=1&time={time_s}", lambda: self.status == 200)

    def told(self) -> tuple[list[float], list[float]]:
        """(requests, wholes) since the last time."""
        out = self.took, self.whole
        self.took, self.whole = [], []
        return out


def rows():
    with tempfile.TemporaryDirectory() as folder:
        ring = Path(folder) / "day.rpl"
        long_drives.write(ring, DAY_S)
        began = time.perf_counter()
        words = [sys.executable, "-m", "ringpull", "view", str(ring), "--no-browser", "--json"]
        process = subprocess.Popen(words, stdout=subprocess.PIPE)
        try:
            assert process.stdout is not None
            yield from _day(Asked(json.loads(process.stdout.readline())["url"]), began, process.pid)
        finally:
            process.terminate()
            process.wait()


def _day(asked: Asked, began: float, pid: int):
    for path in ("/", "/state", "/known?drive=0"):
        asked.get(path)
    session = json.loads(asked.answer)["sessions"][0]
    seconds = session["range_s"][1]
    asked.window(0, seconds)
    took = time.perf_counter() - began
    yield "a day in view: opened", took, "s", "limit 5; the whole command, page, its whole extent from a few blocks"
    asked.told()
    yield from _figures(asked, seconds, "cold, being read")
    while not _state(asked)["done"]:
        time.sleep(0.1)
    took = time.perf_counter() - began
    yield "  read whole", took, "s", f"{session['rows']} rows, in a process of its own; the requests above at once"
    asked.told()
    yield from _figures(asked, seconds, "cold, read")
    yield from _figures(asked, seconds, "warm", warm=True)
    peaks = " + ".join(f"{kb / 1e3:.0f}" for kb in _peaks_kb(pid))
    if peaks:
        yield "  memory", sum(_peaks_kb(pid)) / 1e3, "MB", f"page and decoder, most: {peaks}"


def _state(asked: Asked) -> dict:
    asked.get("/state")
    return json.loads(asked.answer)["drives"][0]


def _peaks_kb(pid: int) -> Iterator[int]:
    """Most memory of a process and its children, where Linux tells it."""
    children = Path(f"/proc/{pid}/task/{pid}/children")
    if not children.exists():
        return
    for one in [pid, *map(int, children.read_text().split())]:
        lines = Path(f"/proc/{one}/status").read_text().splitlines()
        yield from (int(line.split()[1]) for line in lines if line.startswith("VmHWM"))


def _figures(asked: Asked, seconds: float, when: str, warm: bool = False):
    """Moved from one end to the other at every width, a twentieth at a time at some places. warm: in places that were
    looked at just before."""
    random = np.random.default_rng(len(when))
    for kind, ask, widths in (("windows", asked.window, WIDTHS_S), ("rows", lambda at, _: asked.row(at), (5,))):
        took, whole = [], []
        for size_s in widths:
            for place in np.sort(random.uniform(0, 0.99, PLACES)) * (seconds - size_s):
                for _ in range(2 if warm else 1):
                    asked.told()
                    for k in range(STEPS):
                        ask(place + k * 0.05 * size_s, size_s)
                for times, told in zip((took, whole), asked.told(), strict=True):
                    times += told
        yield f"  {kind}, {when}, median", float(np.median(took)), "ms", _spread(took, LIMIT_MS)
        if not warm:
            yield f"  {kind}, {when}, whole", float(np.median(whole)), "ms", _spread(whole, WHOLE_MS)


def _spread(took: list[float], limit: int) -> str:
    return f"limit {limit}; 19 of 20 under {np.percentile(took, 95):.1f}, most {max(took):.1f}, of {len(took)}"
