"""A serial port with a bare board's MicroPython behind it, for the documents' mpremote lines."""

import os
import pty
import select
import subprocess
import sys
import threading
import tty

import pytest
from limits import HANG_S
from trees import ROOT

from ringpull.dryrun.run import find_micropython

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


@pytest.fixture
def mpremote(port):
    """A function that runs mpremote's words on that port, in a folder; returns what was printed."""

    def run(*words, cwd=ROOT):
        command = [sys.executable, "-m", "mpremote", "connect", port, "resume", *words]
        done = subprocess.run(command, cwd=cwd, capture_output=True, text=True, timeout=HANG_S)
        assert done.returncode == 0, f"{command}\n{done.stdout}{done.stderr}"
        return done.stdout

    return run
