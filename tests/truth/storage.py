"""Cards as people use them, and as they fail: what is on a dry run's card before it, and what becomes of it meanwhile.

A test takes one of STORAGES as its parameter: the same drive, on a card of that kind.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ringpull.dryrun import run
from shared_math import faults

SECTOR = 512
DRIVE_FILE = 0  # in a birth block
RING_NEW = faults.FAULTS["ring_new"][0]
Story = list[tuple[float, str, Any]]

# Under MicroPython, whose FAT is the firmware's own: `disk` is the image's block device, mounted at /c
HEAD = """
import os, sys, vfs
sys.path.append(sys.argv[2])
from boards.desk_card import FileDisk
disk = FileDisk(sys.argv[1], os.stat(sys.argv[1])[6] // 512)
vfs.mount(vfs.VfsFat(disk), "/c")
"""
FULL = """
free = os.statvfs("/c")
free = free[0] * free[3]
for n in range(8):
    size = (free - 65536) // 8
    with open("/c/film%d.bin" % n, "wb") as f:
        f.seek(size - 1)
        f.write(b"x")
"""
FRAGMENTS = """
cluster = os.statvfs("/c")[0]
for n in range(240):
    with open("/c/p%d.bin" % n, "wb") as f:
        f.seek(cluster * (1 + n % 3) - 1)
        f.write(b"x")
for n in range(0, 240, 2):
    os.remove("/c/p%d.bin" % n)
"""


def on_card(image: Path, script: str) -> None:
    """Run a script on the image's volume, as another device would have used it."""
    whole = HEAD + script + '\nvfs.umount("/c")\ndisk.file.close()\n'
    words = [run.find_micropython(), "-X", "heapsize=4M", "-c", whole]
    place = os.pathsep.join((str(run.firmware_dir()), str(run.shared_math_dir().parent), ".frozen"))
    done = subprocess.run(
        [*words, str(image), str(run.firmware_dir())],
        env=dict(os.environ, MICROPYPATH=place),
        capture_output=True,
        text=True,
        timeout=300,
    )
    assert done.returncode == 0, done.stdout + done.stderr


def ring_sectors(image: Path) -> list[int]:
    """The sectors of the slots of drive.rpl, from slot 0 on: they lie together on a card that was blank."""
    data = image.read_bytes()
    first = -1
    while (first := data.find(b"Rp\x01\x04", first + 1)) >= 0:
        block = data[first : first + SECTOR]
        right = zlib.crc32(block[:508]) == int.from_bytes(block[508:], "little")
        if first % SECTOR == 0 and right and block[26] == DRIVE_FILE:
            slots = int.from_bytes(block[22:26], "little")
            return list(range(first // SECTOR, first // SECTOR + slots))
    raise AssertionError("there is no drive.rpl on this card")


def overwritten(image: Path, sectors: list[int], content: bytes = b"\x5a" * SECTOR) -> None:
    """Other content in some sectors."""
    with image.open("r+b") as file:
        for sector in sectors:
            file.seek(sector * SECTOR)
            file.write(content)


def second_fat_wrong(image: Path) -> None:
    """Rubbish in the whole second copy of the allocation table."""
    with image.open("r+b") as file:
        start = int.from_bytes(_partition(file), "little")
        file.seek(start * SECTOR)
        boot = file.read(SECTOR)
        reserved, fats = int.from_bytes(boot[14:16], "little"), boot[16]
        size = int.from_bytes(boot[22:24], "little") or int.from_bytes(boot[36:40], "little")
        assert fats == 2 or fats == 1, fats
        if fats == 2:
            file.seek((start + reserved + size) * SECTOR)
            file.write(b"\xa5" * (size * SECTOR))


def _partition(file) -> bytes:
    """The first partition's first sector, 0 where the volume begins at once."""
    file.seek(0)
    boot = file.read(SECTOR)
    return bytes(4) if boot[0] in (0xEB, 0xE9) else boot[454:458]


@dataclass(frozen=True)
class Storage:
    """prepare: makes the image, (image, function that records a drive on it) -> None. story: (image) -> what becomes of
    the card. quick_format: before the drive. sessions: of the newest ring afterwards. whole: no row is lost. full: the
    card can take nothing. rings: with drives. fault: that the lamp shows at the end."""

    prepare: Callable[[Path, Callable[[], None]], None] = lambda image, drive: None
    story: Callable[[Path], Story] = lambda image: []
    quick_format: bool = False
    sessions: int = 1
    whole: bool = True
    full: bool = False
    rings: int = 1
    fault: int = 0


def used(image: Path, drive: Callable[[], None]) -> None:
    """A drive is on it."""
    drive()


def used_twice(image: Path, drive: Callable[[], None]) -> None:
    """Two drives are on it, more than the next one overwrites."""
    drive()
    drive()


def damaged(first: int, count: int) -> Callable[[Path, Callable[[], None]], None]:
    """A drive is on it, and some slots of it hold rubbish."""

    def prepare(image: Path, drive: Callable[[], None]) -> None:
        drive()
        overwritten(image, ring_sectors(image)[first : first + count])

    return prepare


def copied(image: Path, drive: Callable[[], None]) -> None:
    """A drive is on it, and the whole card was copied to another one."""
    drive()
    shutil.copy(image, image.with_name("clone.img"))


def spoiled_elsewhere(image: Path, drive: Callable[[], None]) -> None:
    """Another card lies beside it, of whose ring nothing can be used."""
    drive()
    other = image.rename(image.with_name("clone.img"))
    overwritten(other, ring_sectors(other)[:64])


def on_used(script: str) -> Callable[[Path, Callable[[], None]], None]:
    """The ring files of an earlier drive are deleted, and something else was done to the volume."""

    def prepare(image: Path, drive: Callable[[], None]) -> None:
        used_twice(image, drive)
        on_card(image, 'for name in os.listdir("/c"):\n    os.remove("/c/" + name)\n' + script)

    return prepare


def wrong_copy(image: Path, drive: Callable[[], None]) -> None:
    drive()
    second_fat_wrong(image)


STORAGES = {
    "new": Storage(),
    "used before": Storage(used, sessions=2),
    "used before, then formatted": Storage(used_twice, quick_format=True, rings=2),
    "one bad slot at the start": Storage(damaged(1, 1), sessions=2),
    "nine bad slots at the start": Storage(damaged(0, 9), sessions=2),
    "a ring of which nothing can be used": Storage(damaged(0, 64), fault=RING_NEW),
    "sectors at the start that can't be read": Storage(
        used, lambda image: [(0.0, "bad", ring_sectors(image)[:9])], sessions=2
    ),
    "writes lost that were acknowledged": Storage(
        story=lambda image: [(6.0, "lie", None), (8.0, "in", None)], whole=False
    ),
    "swapped for another": Storage(story=lambda image: [(6.0, "out", None), (8.0, "in", run.NEW)], whole=False),
    "swapped for its clone": Storage(
        copied, lambda image: [(6.0, "out", None), (8.0, "in", image.with_name("clone.img"))], sessions=2, whole=False
    ),
    "swapped for one whose ring can't be used": Storage(
        spoiled_elsewhere,
        lambda image: [(6.0, "out", None), (8.0, "in", image.with_name("clone.img"))],
        whole=False,
        fault=RING_NEW,
    ),
    "full": Storage(on_used(FULL), full=True),
    "in fragments": Storage(on_used(FRAGMENTS), rings=2),
    "with a wrong second table": Storage(wrong_copy, sessions=2),
}
