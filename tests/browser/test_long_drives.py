"""An hour in one file, the whole command and the browser. How fast that is stands in tests/bench/bench_pages.py."""

import subprocess
import sys

import pytest
from pages import ROOT


@pytest.mark.slow
def test_an_hour_in_one_file(opened, tmp_path, monkeypatch):
    monkeypatch.syspath_prepend(str(ROOT / "tests" / "bench"))
    import figures
    import long_drives

    ring, path = tmp_path / "hour.rpl", tmp_path / "hour.html"
    pulls = long_drives.write(ring, long_drives.HOUR_S)
    assert pulls == 81  # every third has the lean hole
    subprocess.run([sys.executable, "-m", "ringpull", "report", str(ring), "-o", str(path)], check=True)
    assert path.stat().st_size < 16e6
    with opened(path) as page:
        assert f"lean event in the other {pulls - pulls // 3} judged pulls" in page.locator("#answer").inner_text()
        page.evaluate("traces.everything()")
        shown_s = page.evaluate("traces.state.end - traces.state.start")
        assert shown_s == pytest.approx(long_drives.HOUR_S, rel=0.05)
        page.evaluate(figures.FRAMES)  # moved along at three zooms; `opened` looks at what went wrong
