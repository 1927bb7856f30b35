"""The list of files for MicroPython's own package installer, and that installer with it."""

import functools
import http.server
import json
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from limits import HANG_S
from truth.cable_desk import bare

from ringpull.device import firmware_build
from tests.make import mip_package

ROOT = Path(__file__).parents[3]
PACKAGE = mip_package.PAGE


def run_mip(board, source):
    """mpremote as a user gives it; the board's root is a folder here."""
    words = ["connect", board.port, "resume", "mip", "install", "--target", str(board.place), source]
    done = subprocess.run(
        [sys.executable, "-m", "mpremote", *words], capture_output=True, text=True, timeout=HANG_S, cwd=ROOT
    )
    assert done.returncode == 0 and done.stdout.rstrip().endswith("Done"), done.stdout + done.stderr


def there(place):
    return {str(p.relative_to(place)): p.read_bytes() for p in place.rglob("*") if p.is_file()}


def test_the_list_is_the_one_that_install_uses():
    """`make docs` writes it anew."""
    assert PACKAGE.read_text() == mip_package.text()
    listed = json.loads(PACKAGE.read_text())["urls"]
    files = {name: (PACKAGE.parent / url).resolve() for name, url in listed}
    assert files == {name: path.resolve() for name, path in firmware_build.sources().items()}
    assert listed[-1][0] == "main.py"  # the start comes last: an interrupted install starts nothing half


def test_mip_over_http(tmp_path):
    """A few of the files, from a web server on this machine."""
    listed = json.loads(PACKAGE.read_text())
    names = ("errnos.py", "cable/console.py", "shared_math/cable.py", "main.py")
    listed["urls"] = [one for one in listed["urls"] if one[0] in names]
    served = tmp_path / "web"
    (served / "firmware").mkdir(parents=True)
    (served / "firmware" / "package.json").write_text(json.dumps(listed))
    for _, url in listed["urls"]:
        there_too = (served / "firmware" / url).resolve()
        there_too.parent.mkdir(parents=True, exist_ok=True)
        there_too.write_bytes((PACKAGE.parent / url).read_bytes())

    class Quiet(http.server.SimpleHTTPRequestHandler):
        def log_message(self, *_args):
            pass

    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), functools.partial(Quiet, directory=served))
    threading.Thread(target=server.serve_forever, args=(0.05,), daemon=True).start()
    try:
        with bare(tmp_path) as board:
            run_mip(board, f"http://127.0.0.1:{server.server_port}/firmware/package.json")
            found = there(board.place)
    finally:
        server.shutdown()
        server.server_close()
    sources = firmware_build.sources()
    assert found == {name: sources[name].read_bytes() for name in names}


def test_the_page_on_boards_shows_it():
    page = (ROOT / "host" / "docs" / "boards.md").read_text()
    assert "mpremote connect PORT mip install --target / firmware/package.json" in page


@pytest.mark.slow
def test_mip_with_the_whole_firmware(tmp_path):
    with bare(tmp_path) as board:
        run_mip(board, str(PACKAGE.relative_to(ROOT)))
        assert there(board.place) == {name: path.read_bytes() for name, path in firmware_build.sources().items()}
