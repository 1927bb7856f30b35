"""Sessions of a logger that was left on, made of a kept log's blocks: a drive, hours of nothing, the same drive
again."""

from __future__ import annotations

import struct
import zlib
from pathlib import Path

import numpy as np

import ringpull
from shared_math import layout, packing

DEMO = Path(__file__).parents[1] / "demo_logs" / "v1_marked" / "drive.rpl"


def sealed(block: bytes, sequence: int, session: int = 1, first: int | None = None) -> bytes:
    """A block with other numbers and a right checksum."""
    out = bytearray(block[: layout.AT_CRC])
    struct.pack_into("<IH", out, layout.AT_SEQUENCE, sequence % 2**32, session)
    if first is not None:
        struct.pack_into("<I", out, layout.AT_FIRST_ROW, first % 2**32)
    return bytes(out) + zlib.crc32(out).to_bytes(4, "little")


def drive_blocks() -> list[bytes]:
    """The kept log's blocks, birth left out."""
    data = DEMO.read_bytes()
    blocks = [data[at : at + 512] for at in range(0, len(data), 512)]
    return [one for one in blocks if layout.verdict(one) is None and one[layout.AT_KIND] != layout.BIRTH]


def is_rows(block: bytes) -> bool:
    return block[layout.AT_KIND] in (layout.PACKED, layout.PLAIN)


def first_of(block: bytes) -> int:
    return struct.unpack_from("<I", block, layout.AT_FIRST_ROW)[0]


def resting_block(bits: list[int], row: list[int], rows: int) -> bytes:
    """A packed block of `rows` rows that are all alike."""
    packer = packing.Packer(bits, rows)
    for _ in range(rows):
        assert packer.add(row)
    block = bytearray(layout.SLOT)
    layout.start_block(block, layout.PACKED, drive_blocks()[0][4:8])
    packer.write(block, 0, 0)
    return bytes(block)


def left_on(path: Path, hours: float, rows_there: bool) -> Path:
    """Write a session in which the same drive comes twice, `hours` apart: with rows of a stopped engine between them,
    or with a hole."""
    blocks = drive_blocks()
    (session,) = ringpull.read(DEMO).sessions
    raw = session.raw()
    rate = round(1 / session.period_s)
    end = int(raw["row"].iloc[-1]) + 1
    later = int(hours * 3600) * rate
    out, sequence = [], 0
    for block in blocks:
        out.append(sealed(block, sequence))
        sequence += 1
    if rows_there:
        setup = session._blocks.setup
        rest = [int(value) for value in raw.iloc[-1].tolist()[1:]]
        for at, column in enumerate(setup.columns):
            if column.role == "age":
                rest[at] = column.top - 1
        block = np.frombuffer(resting_block(setup.bits, rest, rate), np.uint8)
        for first in range(end, later - rate, rate):
            out.append(sealed(block.tobytes(), sequence, 1, first))
            sequence += 1
    for block in blocks:
        out.append(sealed(block, sequence, 1, first_of(block) + later if is_rows(block) else None))
        sequence += 1
    path.write_bytes(b"".join(out))
    return path
