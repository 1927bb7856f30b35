"""Files of our own in a folder of a card, written through to the card and read back from it, past the PC's memory."""

from __future__ import annotations

import errno
import mmap
import os
import shutil
import sys
import time
from pathlib import Path

FOLDER = "ringpull-check"
KEEP_SIZE = 1  # of Linux's fallocate: room without content
ALIGNED = 4096
NO_CACHE = 48  # macOS's fcntl F_NOCACHE


class OwnRoom:
    """card: the folder that it is mounted at. What an earlier run could not remove goes first."""

    def __init__(self, card: Path) -> None:
        self.card = card
        self.place = card / FOLDER
        self.clear()
        self.place.mkdir()
        self.system = file_system(card)
        self.proves = sys.platform in ("linux", "darwin")

    def free(self) -> int:
        """Bytes."""
        return shutil.disk_usage(self.card).free

    def take(self, name: str, size: int) -> bool:
        """Give a new file so much room without writing it; whether this system can."""
        if sys.platform != "linux":
            return False
        import ctypes

        libc = ctypes.CDLL(None, use_errno=True)
        with open(self.place / name, "wb") as file:
            arguments = (file.fileno(), KEEP_SIZE, ctypes.c_int64(0), ctypes.c_int64(size))
            if libc.fallocate(*arguments) == 0:
                return True
        number = ctypes.get_errno()
        if number == errno.ENOSPC:
            raise OSError(number, os.strerror(number))
        return False

    def append(self, name: str, data: bytes) -> None:
        """To a file, until the card has it."""
        with open(self.place / name, "ab", buffering=0) as file:
            done = 0
            while done < len(data):
                done += file.write(data[done:])
            os.fsync(file.fileno())

    def overwrite(self, name: str, at: int, data: bytes) -> float:
        """In place, until the card has it; the seconds that this took."""
        with open(self.place / name, "r+b", buffering=0) as file:
            file.seek(at)
            began = time.perf_counter()
            file.write(data)
            os.fsync(file.fileno())
            return time.perf_counter() - began

    def read(self, name: str, at: int, size: int) -> bytes:
        """From the card, where the system lets a program ask for that."""
        path = self.place / name
        direct = getattr(os, "O_DIRECT", 0)
        if direct and at % ALIGNED == 0:
            try:
                return _read_aligned(path, direct, at, size)
            except OSError as error:
                if error.errno != errno.EINVAL:  # some file systems know no such reading
                    raise
        with open(path, "rb", buffering=0) as file:
            if hasattr(os, "posix_fadvise"):
                os.posix_fadvise(file.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)
            elif sys.platform == "darwin":
                import fcntl

                fcntl.fcntl(file.fileno(), NO_CACHE, 1)
            file.seek(at)
            return file.read(size) or b""

    def clear(self) -> None:
        """Remove all our files."""
        shutil.rmtree(self.place, ignore_errors=True)


def _read_aligned(path: Path, direct: int, at: int, size: int) -> bytes:
    with (
        mmap.mmap(-1, -(-size // ALIGNED) * ALIGNED) as room,  # memory that is aligned
        open(path, "rb", buffering=0, opener=lambda name, flags: os.open(name, flags | direct)) as file,
    ):
        file.seek(at)
        count = file.readinto(room)
        return room[: min(count, size)]


def file_system(folder: Path) -> str:
    """The name that Linux has for the file system of a folder; "" where it is not told."""
    try:
        lines = Path("/proc/mounts").read_text().splitlines()
    except OSError:
        return ""
    place = str(folder.resolve())
    found, longest = "", -1
    for line in lines:
        mounted, system = line.split(" ")[1:3]
        mounted = mounted.replace("\\040", " ")
        inside = place == mounted or place.startswith(mounted.rstrip("/") + "/")
        if inside and len(mounted) >= longest:
            found, longest = system, len(mounted)
    return found
