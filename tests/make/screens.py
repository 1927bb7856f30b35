"""Pictures of the logger's screen: the whole firmware on the demo's drive, its frame buffer as PNG."""

from __future__ import annotations

import os
import struct
import zlib
from pathlib import Path
from unittest import mock

from ringpull.dryrun import run
from ringpull.files.firmware_sources import firmware_dir
from ringpull.invented import instruments, scenario

ROOT = Path(__file__).resolve().parents[2]
WIDTH, HEIGHT = 128, 64
LIT, DARK, FRAME = 0xEE, 0x10, 0x60  # grey levels; FRAME: between pictures on a sheet

# name -> seconds of the demo's drive with seed 1
MOMENTS = {
    "standing": 1.5,
    "warming": 8.0,
    "driving": 27.0,
    "pull": 34.0,
    "lean": 62.45,
    "curve": 66.5,
    "card_out": 134.8,
}
START = """
import sys
sys.path.append({tests!r})
import boards
import screen_run
boards.pick = screen_run.ScreenBoard
with open({main!r}) as main:
    exec(main.read())
"""


def shoot(folder: Path, moments: dict[str, float]) -> dict[str, bytes]:
    """name -> the 1024 bytes that stood on the glass at that second of the demo's drive. folder: for the files."""
    made = scenario.simulate(1)
    instruments.write(made, folder, 1)
    config = folder / "logger.json"
    config.write_text(config.read_text().replace('"version"', '"screen": true,\n "version"', 1))
    firmware = folder / "firmware"
    firmware.mkdir()
    for part in firmware_dir().iterdir():
        if part.name != "main.py":
            (firmware / part.name).symlink_to(part)
    names = {"tests": str(ROOT / "tests" / "firmware"), "main": str(firmware_dir() / "main.py")}
    (firmware / "main.py").write_text(START.format(**names))
    lines = sorted((second, name) for name, second in moments.items())
    (folder / "moments").write_text("".join(f"{second} {name}\n" for second, name in lines))
    signals = [folder / name for name in ("logger.json", "volts.csv", "edges.csv", "buttons.csv")]
    with (
        mock.patch.object(run, "firmware_dir", lambda: firmware),
        mock.patch.dict(os.environ, RINGPULL_SHOTS=str(folder)),
    ):
        run.dry_run(*signals, folder / "card", seed=1)
    return {name: (folder / name).read_bytes() for name in moments}


def pixels(data: bytes) -> list[bytearray]:
    """Rows of 0 and 1: a column of eight pixels a byte, lowest bit on top, as the controller has them."""
    return [bytearray(data[(y // 8) * WIDTH + x] >> (y & 7) & 1 for x in range(WIDTH)) for y in range(HEIGHT)]


def sheet(frames: list[bytes], columns: int, scale: int = 3, gap: int = 4) -> bytes:
    """PNG of several screens side by side."""
    down = -(-len(frames) // columns)
    wide, high = columns * (WIDTH + gap) + gap, down * (HEIGHT + gap) + gap
    grey = [bytearray([FRAME]) * wide for _ in range(high)]
    for at, data in enumerate(frames):
        left, top = gap + at % columns * (WIDTH + gap), gap + at // columns * (HEIGHT + gap)
        for y, row in enumerate(pixels(data)):
            grey[top + y][left : left + WIDTH] = bytes(LIT if lit else DARK for lit in row)
    lines = b"".join((b"\0" + bytes(v for v in row for _ in range(scale))) * scale for row in grey)
    header = struct.pack(">IIBBBBB", wide * scale, high * scale, 8, 0, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n" + _chunk(b"IHDR", header) + _chunk(b"IDAT", zlib.compress(lines, 9)) + _chunk(b"IEND", b"")
    )


def _chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
