"""An hour in one file, the whole command and the browser: time to build, size, first paint, moving along."""

import os
import subprocess
import sys
import time

import pytest
from figures import first_paint_ms, frames_ms
from pages import ROOT

BEST_OF = 3


@pytest.mark.slow
def test_an_hour_in_one_file(opened, tmp_path, monkeypatch):
    monkeypatch.syspath_prepend(str(ROOT / "tests" / "bench"))
    import long_drives

    ring, path = tmp_path / "hour.rpl", tmp_path / "hour.html"
    assert long_drives.write(ring, long_drives.HOUR_S) == 81
    took_s = []
    for _ in range(BEST_OF):
        began, before = time.perf_counter(), os.times()
        subprocess.run([sys.executable, "-m", "ringpull", "report", str(ring), "-o", str(path)], check=True)
        took, after = time.perf_counter() - began, os.times()
        # on a machine that is busy with other things its own time on the processors is nearer to what it takes
        took_s.append(min(took, sum(after[2:4]) - sum(before[2:4])))
    assert min(took_s) < 3.0
    assert path.stat().st_size < 16e6
    with opened(path) as page:
        paint_ms, frames = first_paint_ms(page), frames_ms(page)
        print(
            f"built in {min(took_s):.2f} s, {path.stat().st_size / 1e6:.1f} MB, first paint {paint_ms:.0f} ms, frame ",
            end="",
        )
        print(f"{frames[len(frames) // 2]:.0f} ms, 19 of 20 under {frames[int(0.95 * len(frames))]:.0f} ms")
        assert paint_ms < 1500
        assert frames[len(frames) // 2] < 40.0
