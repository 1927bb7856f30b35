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
    (folder / "logger.json").write_text(json.dumps(config))
    script = folder / "make_card.py"
    script.write_text(MAKE_CARD)
    places = [str(firmware_dir()), str(shared_math_dir().parent), ".frozen"]
    numbers = [str(n) for n in (sectors, drive_slots, pulls_slots)]
    subprocess.run(
        [find_micropython(), str(script), str(image), *numbers, str(folder / "logger.json")],
        env={"MICROPYPATH": ":".join(places)},
        check=True,
        timeout=300,
    )
    return bytearray(image.read_bytes())


# Copies the ring files out of an image, again with MicroPython's own FAT
READ_CARD = """
import sys, vfs
from boards.desk_card import FileDisk
image, sectors, out = sys.argv[1:]
vfs.mount(vfs.VfsFat(FileDisk(image, int(sectors))), "/card")
buf = bytearray(4096)
for name in ("drive.rpl", "pulls.rpl", "logger.json"):
    with open("/card/" + name, "rb") as source, open(out + "/" + name, "wb") as target:
        while True:
            count = source.readinto(buf)
            if not count:
                break
            target.write(memoryview(buf)[:count])
"""


def read_card(folder: Path, image: bytes) -> Path:
    """The card's files in a folder that ringpull can read."""
    out = folder / "card"
    out.mkdir(exist_ok=True)
    (folder / "taken.img").write_bytes(image)
    script = folder / "read_card.py"
    script.write_text(READ_CARD)
    places = [str(firmware_dir()), ".frozen"]
    subprocess.run(
        [find_micropython(), str(script), str(folder / "taken.img"), str(len(image) // 512), str(out)],
        env={"MICROPYPATH": ":".join(places + [str(shared_math_dir().parent)])},
        check=True,
        timeout=300,
    )
    return out
