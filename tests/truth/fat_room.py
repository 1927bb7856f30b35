"""A card's FAT volume, made and written by MicroPython's own FAT on a block device that is as large as it says, or not.

The same operations as host/ringpull/files/own_room.py, asked of a process over its pipes.
"""

from __future__ import annotations

import json
import os
import subprocess
from pathlib import Path

from ringpull.dryrun import run

SECTOR = 512
SERVER = """
import json, os, sys, vfs
S = 512
class Disk:
    # kind: "true"; "lost": what lies beyond `there` sectors is lost; "wraps": it lands at the beginning
    def __init__(self, path, told, there, kind):
        self.f, self.told, self.there, self.kind = open(path, "r+b"), told, there, kind
    def place(self, n):
        if n < self.there:
            return n
        return n % self.there if self.kind == "wraps" else -1
    def readblocks(self, n, buf):
        for at in range(0, len(buf), S):
            place = self.place(n + at // S)
            if place < 0:
                buf[at:at + S] = bytes(S)
            else:
                self.f.seek(place * S)
                buf[at:at + S] = self.f.read(S)
    def writeblocks(self, n, buf):
        for at in range(0, len(buf), S):
            place = self.place(n + at // S)
            if place >= 0:
                self.f.seek(place * S)
                self.f.write(buf[at:at + S])
    def ioctl(self, op, arg):
        return {4: self.told, 5: S}.get(op, 0)
disk = Disk(sys.argv[1], int(sys.argv[2]), int(sys.argv[3]), sys.argv[4])
vfs.VfsFat.mkfs(disk)
vfs.mount(vfs.VfsFat(disk), "/c")
def answer(verb, name, at, data):
    path = "/c/" + name
    if verb == "free":
        told = os.statvfs("/c")
        return told[0] * told[3]
    if verb == "take":
        with open(path, "wb") as f:
            f.seek(at - 1)
            f.write(b"x")
        return os.stat(path)[6]
    if verb == "append":
        with open(path, "ab") as f:
            return f.write(open(data, "rb").read())
    if verb == "overwrite":
        with open(path, "r+b") as f:
            f.seek(at)
            return f.write(open(data, "rb").read())
    if verb == "read":
        with open(path, "rb") as f:
            f.seek(at)
            with open(data, "r+b") as to:
                to.write(f.read(os.stat(data)[6]))
            return 0
    if verb == "remove":
        os.remove(path)
    return os.listdir("/c")
while True:
    line = sys.stdin.readline()
    if not line:
        break
    try:
        out = {"done": answer(*json.loads(line))}
    except OSError as error:
        out = {"errno": error.errno}
    print(json.dumps(out))
"""


class FatRoom:
    """told, there: bytes that the card says it has, and has. kind: "true", "lost" or "wraps" for what lies beyond."""

    proves = True
    system = "vfat"

    def __init__(self, image: Path, told: int, there: int, kind: str) -> None:
        with image.open("wb") as file:
            file.truncate(there)
        words = [run.find_micropython(), "-X", "heapsize=64M", "-c", SERVER, str(image)]
        words += [str(told // SECTOR), str(there // SECTOR), kind]
        self.process = subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        self.names: set[str] = set()
        self.between = image.with_suffix(".between")  # what goes to the process and comes back
        self.cleared = False

    def __enter__(self) -> FatRoom:
        return self

    def __exit__(self, *_: object) -> None:
        self.process.kill()
        self.process.communicate()

    def _ask(self, verb: str, name: str = "", at: int = 0, data: str = ""):
        assert self.process.stdin and self.process.stdout
        self.process.stdin.write(json.dumps([verb, name, at, data]) + "\n")
        self.process.stdin.flush()
        told = json.loads(self.process.stdout.readline())
        if "errno" in told:
            raise OSError(told["errno"], os.strerror(told["errno"]))
        return told["done"]

    def names_there(self) -> list[str]:
        """What the volume holds."""
        return self._ask("list")

    def free(self) -> int:
        return self._ask("free")

    def take(self, name: str, size: int) -> bool:
        self.names.add(name)
        if self._ask("take", name, size) != size:
            raise OSError(28, "no space")
        return True

    def append(self, name: str, data: bytes) -> None:
        self.names.add(name)
        self.between.write_bytes(data)
        if self._ask("append", name, 0, str(self.between)) != len(data):
            raise OSError(28, "no space")

    def overwrite(self, name: str, at: int, data: bytes) -> float:
        self.between.write_bytes(data)
        self._ask("overwrite", name, at, str(self.between))
        return 0.001

    def read(self, name: str, at: int, size: int) -> bytes:
        self.between.write_bytes(bytes(size))
        self._ask("read", name, at, str(self.between))
        return self.between.read_bytes()

    def clear(self) -> None:
        self.cleared = True
        for name in sorted(self.names):
            try:
                self._ask("remove", name)
            except OSError:  # a false card may have lost its directory
                continue
        self.names.clear()
