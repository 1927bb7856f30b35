"""The second rig's board on a cable: its USB serial on a pty, which any program of this machine can open."""

from __future__ import annotations

import contextlib
import os
import pty
import select
import socket
import subprocess
import threading
import tty
from pathlib import Path

from second_rig import Rig, Story

PIECE = 65536
LOOK_S = 0.05
END_S = 60


class BoardOnCable:
    """port: for a PC. The board runs as long as the story, or until `end`; its time is never ahead of this machine's.

    installed: False for a board that carries MicroPython alone.
    """

    def __init__(self, uf2: Path, story: Story, folder: Path, installed: bool = True) -> None:
        self.rig = Rig(uf2, story, folder, installed)
        self.node = subprocess.Popen(
            self.rig.command("serve.mjs"), stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )
        assert self.node.stdout
        self.socket = socket.create_connection(("127.0.0.1", int(self.node.stdout.readline())))
        self.master, self.slave = pty.openpty()
        for end in (self.master, self.slave):
            tty.setraw(end)
        self.port = os.ttyname(self.slave)
        self.ended = threading.Event()
        self.carrying = [threading.Thread(target=way, daemon=True) for way in (self._to_board, self._to_pc)]
        for way in self.carrying:
            way.start()

    def _to_board(self) -> None:
        while not self.ended.is_set():
            if select.select([self.master], [], [], LOOK_S)[0]:
                with contextlib.suppress(OSError):
                    self.socket.sendall(os.read(self.master, PIECE))

    def _to_pc(self) -> None:
        while not self.ended.is_set():
            if not select.select([self.socket], [], [], LOOK_S)[0]:
                continue
            data = self.socket.recv(PIECE)
            if not data:
                return
            while data and not self.ended.is_set():
                if select.select([], [self.master], [], LOOK_S)[1]:
                    data = data[os.write(self.master, data[:256]) :]

    def end(self) -> dict:
        """Power goes; what was seen, see serve.mjs."""
        self.ended.set()
        for way in self.carrying:
            way.join(END_S)
        assert self.node.stdin
        with contextlib.suppress(OSError):
            self.node.stdin.close()
        try:
            self.node.wait(END_S)
        finally:
            self.node.kill()
            self.socket.close()
            for end in (self.master, self.slave):
                os.close(end)
        return self.rig.seen()
