"""README holds: its table is the commands' own, and every command it shows runs."""

import hashlib
import os
import pty
import re
import select
import shlex
import subprocess
import sys
import threading
import tty
from glob import glob

import pytest
import readme_table
from limits import HANG_S
from trees import ROOT

from ringpull.dryrun.run import find_micropython

README = (ROOT / "README.md").read_text(encoding="utf-8")


def shell_lines(text):
    """Every command line in README's sh blocks."""
    blocks = re.findall(r"```sh\n(.*?)```", text, re.S)
    return [line for block in blocks for line in block.splitlines() if line.strip()]


LINES = shell_lines(README)
MAKE = [line for line in LINES if line.startswith("make ")]
RINGPULL = [line for line in LINES if line.startswith(".venv/bin/ringpull ")]
MPREMOTE = [line for line in LINES if line.startswith(".venv/bin/mpremote ")]


def test_the_table_is_the_commands_own():
    assert readme_table.shown() == readme_table.table(), "write it anew: python tests/laws/readme_table.py"


def test_every_line_is_run_by_a_test_here():
    assert MAKE and RINGPULL and MPREMOTE
    assert sorted(LINES) == sorted(MAKE + RINGPULL + MPREMOTE)


def test_pictures_and_folders_are_there():
    for name in re.findall(r"!\[[^]]*\]\(([^)]+)\)", README) + re.findall(r"`([a-z_]+/)`", README):
        assert (ROOT / name).exists(), name


@pytest.mark.parametrize("line", MAKE)
def test_make_knows(line):
    """Dry: `make test` would run this test again. That the demo runs is the next test's business."""
    done = subprocess.run([*shlex.split(line), "-n"], cwd=ROOT, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    assert f"run.py {line.split()[1]}" in done.stdout


def test_the_demo_and_the_lines_on_its_card(tmp_path):
    """What `make demo` calls, then README's lines in their order, in a folder of their own."""
    command = os.path.join(os.path.dirname(sys.executable), "ringpull")
    for line in [".venv/bin/ringpull demo -o build/demo", *RINGPULL]:
        done = subprocess.run([command, *shlex.split(line)[1:]], cwd=tmp_path, capture_output=True, text=True)
        assert done.returncode == 0, f"{line}\n{done.stdout}{done.stderr}"
        assert done.stdout.strip(), line


# As on a board: the file system at / is a small one of its own, and nothing of this machine can be reached.
BOARD = """
import vfs
class Ram:
    def __init__(self): self.data = bytearray(512 * 4096)
    def readblocks(self, n, buf, off=0): buf[:] = self.data[n * 512 + off : n * 512 + off + len(buf)]
    def writeblocks(self, n, buf, off=0): self.data[n * 512 + off : n * 512 + off + len(buf)] = buf
    def ioctl(self, op, arg): return {4: 4096, 5: 512, 6: 0}.get(op, 0)
ram = Ram()
vfs.VfsFat.mkfs(ram)
vfs.umount("/")
vfs.mount(ram, "/")
"""


@pytest.fixture
def port(tmp_path):
    """A serial port with a bare board's MicroPython prompt behind it."""
    board, inside = pty.openpty()
    cable, outside = pty.openpty()
    for end in (inside, outside):
        tty.setraw(end)
    (tmp_path / "board.py").write_text(BOARD)
    command = [find_micropython(), "-X", "heapsize=16M", "-i", str(tmp_path / "board.py")]
    process = subprocess.Popen(command, stdin=inside, stdout=inside, stderr=inside, start_new_session=True)
    stop, wake = os.pipe()

    def carry():
        while True:
            ready, _, _ = select.select([board, cable, stop], [], [])
            if stop in ready:
                return
            for end in ready:
                os.write(cable if end == board else board, os.read(end, 4096))

    thread = threading.Thread(target=carry)
    thread.start()
    yield os.ttyname(outside)
    os.write(wake, b"x")
    thread.join()
    process.kill()
    process.wait()
    for end in (board, inside, cable, outside, stop, wake):
        os.close(end)


def mpremote(port, *words):
    command = [sys.executable, "-m", "mpremote", "connect", port, "resume", *words]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=HANG_S)
    assert done.returncode == 0, f"{command}\n{done.stdout}{done.stderr}"
    return done.stdout


def test_mpremote_lines(port):
    """On MicroPython's unix port behind a pseudo-terminal, which has no soft reset (hence `resume`) and no reset."""
    start = ".venv/bin/mpremote connect PORT "
    assert all(line.startswith(start) for line in MPREMOTE)
    for line in MPREMOTE:
        if line != start + "reset":
            words = shlex.split(line.removeprefix(start))
            mpremote(port, *[name for word in words for name in (sorted(glob(word, root_dir=ROOT)) or [word])])
    for folder, place in ((ROOT / "firmware", ""), (ROOT / "shared_math", "shared_math/")):
        files = sorted(folder.rglob("*.py"))
        sums = "import hashlib, binascii\n" + "".join(
            f"print(binascii.hexlify(hashlib.sha256(open({place + path.relative_to(folder).as_posix()!r}, 'rb').read())"
            ".digest()).decode())\n"
            for path in files
        )
        assert mpremote(port, "exec", sums).split() == [hashlib.sha256(path.read_bytes()).hexdigest() for path in files]
