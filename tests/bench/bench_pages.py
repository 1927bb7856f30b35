"""The report of an hour, and a day in the local page: time, size, memory, frames in the browser.

Both drives are the demo's pulls over and over (long_drives.py): 200 rows a second, 12 channels, 81 pulls an hour.
"""

from __future__ import annotations

import http.client
import shutil
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

import long_drives
import numpy as np

MB = 1e6
DAY_S = 24 * 3600.0
TIMES = 3


def rows():
    with tempfile.TemporaryDirectory() as folder:
        yield from _report(Path(folder))
        yield from _day(Path(folder))


def _report(folder: Path):
    ring, page = folder / "hour.rpl", folder / "hour.html"
    pulls = long_drives.write(ring, long_drives.HOUR_S)
    took = []
    for _ in range(TIMES):
        began = time.perf_counter()
        words = [sys.executable, "-m", "ringpull", "report", str(ring), "-o", str(page)]
        subprocess.run(words, check=True, stdout=subprocess.DEVNULL)
        took.append(time.perf_counter() - began)
    yield "report of an hour", min(took), "s", f"limit 3; the whole command, {pulls} pulls, 200 Hz x 12 channels"
    yield "  its size", page.stat().st_size / MB, "MB", "limit 16"
    yield from _browser(page)


def _browser(page: Path):
    chromium = shutil.which("chromium")
    if not chromium:
        yield "  in the browser", float("nan"), "ms", "left out: chromium is not installed"
        return
    from playwright.sync_api import sync_playwright

    sys.path.append(str(Path(__file__).resolve().parents[1] / "browser"))
    import figures

    with sync_playwright() as started:
        browser = started.chromium.launch(executable_path=chromium, args=["--no-sandbox", "--disable-gpu"])
        opened = browser.new_page(viewport={"width": 1280, "height": 800})
        opened.goto(page.as_uri())
        opened.wait_for_selector("#panels[data-ready]")
        paint, frames = figures.first_paint_ms(opened), figures.frames_ms(opened)
        browser.close()
    yield "  first paint", paint, "ms", "limit 1500; no GPU"
    late = f"19 of 20 under {frames[int(0.95 * len(frames))]:.0f}"
    yield "  a frame while moved along, median", frames[len(frames) // 2], "ms", f"limit 40; {late}"


class _Asked:
    """One connection to the local page, and how long each answer took."""

    def __init__(self, port: int) -> None:
        self.connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
        self.host = f"127.0.0.1:{port}"

    def get(self, path: str) -> float:
        began = time.perf_counter()
        self.connection.request("GET", path, headers={"Host": self.host})
        self.connection.getresponse().read()
        return 1e3 * (time.perf_counter() - began)

    def window(self, start_s: float, size_s: float) -> float:
        return self.get(f"/window?drive=0&session=1&start={start_s}&end={start_s + size_s}&width=1200")


def _day(folder: Path):
    from ringpull.view.server import Server
    from ringpull.view.shelf import Shelved

    ring = folder / "day.rpl"
    long_drives.write(ring, DAY_S)
    began = time.perf_counter()
    shelved = Shelved(ring)
    server = Server([shelved])
    shelved.start()
    threading.Thread(target=server.serve_forever, daemon=True).start()
    asked = _Asked(server.server_port)
    asked.get("/")
    asked.window(0, DAY_S)
    yield (
        "a day in view: opened",
        time.perf_counter() - began,
        "s",
        "limit 5; page and its whole extent, from a few blocks",
    )
    random = np.random.default_rng(1)
    seconds = shelved.drive.sessions[0].duration_s
    yield from _windows(asked, random, seconds, "while it is read")
    shelved.wait()
    yield "  read whole", time.perf_counter() - began, "s", f"{shelved.shown[1].read} rows, in a process of its own"
    yield from _windows(asked, random, seconds, "once it is read")
    yield (
        "  memory for its windows",
        shelved.shown[1].pyramid.bytes / MB,
        "MB",
        "least and most of every 16 rows and up",
    )
    server.shutdown()
    server.server_close()


def _windows(asked: _Asked, random: np.random.Generator, seconds: float, when: str):
    """Windows of every width anywhere, and windows that follow each other as when one is moved along."""
    jumps = []
    for _ in range(200):
        size_s = 10 ** random.uniform(0, np.log10(seconds))
        jumps.append(asked.window(random.uniform(0, seconds - size_s), size_s))
    yield (
        f"  any window, {when}, most",
        max(jumps),
        "ms",
        f"limit 50; 200 of all widths, 19 of 20 under {np.percentile(jumps, 95):.1f}",
    )
    moved = [
        asked.window(0.4 * seconds + k * 0.05 * size_s, size_s) for size_s in (14400, 600, 60, 8) for k in range(50)
    ]
    yield (
        f"  moved along, {when}, 19 of 20",
        float(np.percentile(moved, 95)),
        "ms",
        f"limit 5; median {np.median(moved):.1f}",
    )
