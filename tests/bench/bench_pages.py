"""The report of an hour: time, size, frames in the browser.

The drive is the demo's pulls over and over (long_drives.py): 200 rows a second, 12 channels, 81 pulls an hour.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import figures
import long_drives

MB = 1e6
TIMES = 3


def rows():
    with tempfile.TemporaryDirectory() as folder:
        yield from _report(Path(folder))


def _report(folder: Path):
    ring, page = folder / "hour.rpl", folder / "hour.html"
    pulls = long_drives.write(ring, long_drives.HOUR_S)
    took = []
    kept = {
        name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"
    }  # as where it ran before
    for _ in range(TIMES):
        began = time.perf_counter()
        words = [sys.executable, "-m", "ringpull", "report", str(ring), "-o", str(page)]
        subprocess.run(words, check=True, stdout=subprocess.DEVNULL, env=kept)
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
