"""How much faster than real time the firmware runs on recorded signals."""

import tempfile
import time
from pathlib import Path

import scene

from ringpull.dryrun.run import dry_run


def rows():
    with tempfile.TemporaryDirectory() as folder:
        place = scene.write_signals(Path(folder))
        began = time.perf_counter()
        done = dry_run(place / "logger.json", place / "volts.csv", place / "edges.csv", None, place / "card")
        took_s = time.perf_counter() - began
    remark = f"at least 20; {done.simulated_s:.0f} s of signals, 200 Hz x {len(scene.ANALOG)} analog channels"
    yield "dry run", done.simulated_s / took_s, "x real time", remark
