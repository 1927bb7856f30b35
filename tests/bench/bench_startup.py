"""How long `ringpull --help` takes, beside an empty Python."""

import statistics
import subprocess
import sys
import time
from pathlib import Path


def median_ms(words, runs=15):
    times = []
    for _ in range(runs):
        began = time.perf_counter()
        subprocess.run(words, stdout=subprocess.DEVNULL, check=True)
        times.append(time.perf_counter() - began)
    return 1000 * statistics.median(times)


def rows():
    command = str(Path(sys.executable).with_name("ringpull"))
    empty = median_ms([sys.executable, "-c", "pass"])
    own = median_ms([command, "--help"])
    yield "ringpull --help", own, "ms", f"limit 150; an empty Python takes {empty:.0f}"
