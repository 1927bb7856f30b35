"""What goes onto the board's littlefs beside the firmware, and onto its card: a volume with both rings made."""

from __future__ import annotations

import json
import subprocess
from pathlib import Path

from ringpull.dryrun.run import find_micropython
from ringpull.files.firmware_sources import firmware_dir, shared_math_dir

HERE = Path(__file__).resolve().parent

# Console output goes to the data register of UART 0 alone: the emulator's UART would raise an endless transmit
# interrupt
BOOT = b"""import io, os
from machine import mem32

class Console(io.IOBase):
    def write(self, data):
        for byte in data:
            mem32[0x40034000] = byte

    def readinto(self, _buf):
        return None

os.dupterm(Console())
"""


# Runs under the MicroPython unix port: the same store code that the board has makes the rings
MAKE_CARD = """
import sys, vfs
from boards.desk_card import FileDisk
from store import card, fatfile
image, sectors, drive, pulls, config = sys.argv[1:]
disk = FileDisk(image, int(sectors))
vfs.VfsFat.mkfs(disk)
vfs.mount(vfs.VfsFat(disk), "/card")
with open(config, "rb") as source, open("/card/logger.json", "wb") as target:
    target.write(source.read())
card.Card(fatfile.FatCard("/card", disk), int(drive), int(pulls)).open()
vfs.umount("/card")
disk.file.close()
"""


def card_image(
    folder: Path, config: dict, drive_slots: int = 16384, pulls_slots: int = 8192, sectors: int = 65536
) -> bytearray:
    """A card's sectors: FAT with logger.json and both rings, ready to record."""
    image = folder / "card.img"
    image.write_bytes(bytes(sectors * 512))
    _make(MAKE_CARD, image, sectors, str(drive_slots), str(pulls_slots), _config(folder, config))
    return bytearray(image.read_bytes())


SECTORS_32_GB = 67100672
DRIVE_SLOTS, PULLS_SLOTS = 131072, 32768  # as the firmware makes them on a card with room

# Formatted anew as a PC does it quickly: what was written stays, but for the tables; logger.json is put on it
FORMAT = """
import sys, vfs
from boards.desk_card import FileDisk
image, sectors, config = sys.argv[1:]
disk = FileDisk(image, int(sectors))
vfs.VfsFat.mkfs(disk)
vfs.mount(vfs.VfsFat(disk), "/card")
with open(config, "rb") as source, open("/card/logger.json", "wb") as target:
    target.write(source.read())
vfs.umount("/card")
disk.file.close()
"""

# A volume and nothing else
MAKE_BARE = """
import sys, vfs
from boards.desk_card import FileDisk
image, sectors = sys.argv[1:]
vfs.VfsFat.mkfs(FileDisk(image, int(sectors)))
"""


def sparse_card(folder: Path, name: str, config: dict | None) -> Path:
    """The image of a card of 32 GB, of which only what is written takes room; without ring files where no config is
    given."""
    image = folder / f"{name}.img"
    with image.open("wb") as file:
        file.truncate(SECTORS_32_GB * 512)
    if config is None:
        _make(MAKE_BARE, image, SECTORS_32_GB)
    else:
        slots = (str(DRIVE_SLOTS), str(PULLS_SLOTS))
        _make(MAKE_CARD, image, SECTORS_32_GB, *slots, _config(folder, config))
    return image


def format_anew(image: Path, config: dict) -> None:
    """A quick format of a used card."""
    _make(FORMAT, image, image.stat().st_size // 512, _config(image.parent, config))


def _config(folder: Path, config: dict) -> str:
    (folder / "logger.json").write_text(json.dumps(config))
    return str(folder / "logger.json")


def _make(text: str, image: Path, sectors: int, *more: str) -> None:
    """Run a script under MicroPython's unix port, with the firmware's own modules."""
    script = image.parent / "make_card.py"
    script.write_text(text)
    places = [str(firmware_dir()), str(shared_math_dir().parent), ".frozen"]
    subprocess.run(
        [find_micropython(), str(script), str(image), str(sectors), *more],
        env={"MICROPYPATH": ":".join(places)},
        check=True,
        timeout=300,
    )


# Copies the ring files out of an image, again with MicroPython's own FAT
READ_CARD = """
import os, sys, vfs
from boards.desk_card import FileDisk
image, sectors, out = sys.argv[1:]
vfs.mount(vfs.VfsFat(FileDisk(image, int(sectors))), "/card")
buf = bytearray(4096)
for name in ("drive.rpl", "pulls.rpl", "logger.json"):
    if name not in os.listdir("/card"):
        continue
    with open("/card/" + name, "rb") as source, open(out + "/" + name, "wb") as target:
        while True:
            count = source.readinto(buf)
            if not count:
                break
            target.write(memoryview(buf)[:count])
"""


def read_card(folder: Path, image: bytes) -> Path:
    """The card's files in a folder that ringpull can read."""
    (folder / "taken.img").write_bytes(image)
    return copied(folder, folder / "taken.img", "card")


def copied(folder: Path, image: Path, name: str = "") -> Path:
    """The files of a card's image, in a folder beside it."""
    out = folder / (name or image.stem)
    out.mkdir(exist_ok=True)
    _make(READ_CARD, image, image.stat().st_size // 512, str(out))
    return out
