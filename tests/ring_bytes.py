"""Ring files made block by block with the project's own packing, for tests of the reader."""

from __future__ import annotations

import json
import zlib
from dataclasses import dataclass, field

from shared_math import channels, config, layout, packing, unpacking

RING = b"\x01\x02\x03\x04"
CONFIG = {
    "version": 1,
    "rate_hz": 100,
    "engine": {"cylinders": 4, "strokes": 4},
    "channels": [
        {"name": "lambda_1", "input": "a0", "kind": "lambda", "volts": [0.0, 5.0], "values": [0.6, 1.4]},
        {"name": "engine_speed", "input": "p0", "kind": "pulses", "per_rev": 2, "max_rpm": 9000},
        {"name": "map", "input": "a1", "kind": "linear", "unit": "kPa", "volts": [0.5, 4.5], "values": [20, 300]},
        {"name": "door", "input": "d0", "kind": "digital"},
    ],
}


def columns_of(settings: dict = CONFIG) -> list[dict]:
    return channels.columns(config.defaults(settings), lambda name: (12, 3.3, 0))


def write_plain(block, bits, rows, first_row, lost):
    """Write a PLAIN block: column after column, 2 bytes a value up to 16 bits, 4 bytes above.

    rows: list of sequences, one per row. Raises ValueError when they do not fit (see plain_rows).
    """
    if not 1 <= len(rows) <= unpacking.plain_rows(bits):
        raise ValueError("%d rows do not fit a plain block of these columns" % len(rows))
    layout.put32(block, layout.AT_FIRST_ROW, first_row)
    layout.put16(block, layout.AT_ROWS, len(rows))
    layout.put16(block, layout.AT_LOST, lost if lost < 0xFFFF else 0xFFFF)
    at = layout.AT_PAYLOAD
    for c in range(len(bits)):
        wide = bits[c] > 16
        for row in rows:
            layout.put16(block, at, row[c] & 0xFFFF)
            at += 2
            if wide:
                layout.put16(block, at, row[c] >> 16)
                at += 2


@dataclass
class Ring:
    """Blocks in the order in which they are written. Sequence numbers go on by themselves."""

    ring: bytes = RING
    sequence: int = 0
    session: int = 1
    settings: dict = field(default_factory=lambda: CONFIG)
    period_us: int = 10000
    blocks: list[bytes] = field(default_factory=list)
    hashed: bool = True  # whether setup parts carry the hash of the whole, as those of earlier firmware do not

    def __post_init__(self) -> None:
        self.columns = columns_of(self.settings)
        self.bits = [column["b"] for column in self.columns]
        self.names = [column["n"] for column in self.columns]

    def start(self, kind: int) -> bytearray:
        block = bytearray(layout.SLOT)
        layout.start_block(block, kind, self.ring)
        layout.put32(block, layout.AT_SEQUENCE, self.sequence)
        layout.put16(block, layout.AT_SESSION, self.session)
        return block

    def put(self, block: bytearray) -> None:
        layout.seal(block, memoryview(block)[: layout.AT_CRC])
        self.blocks.append(bytes(block))
        self.sequence = (self.sequence + 1) % 2**32

    def setup(self, **more: object) -> None:
        head = {"firmware": "0", "board": "desk", "utc": None, "period_us": self.period_us, "columns": self.columns}
        self.text(json.dumps(head | {"config": self.settings, "faults": []} | more).encode())

    def text(self, text: bytes, kind: int = layout.SETUP) -> None:
        pieces = [text[at : at + layout.PAYLOAD] for at in range(0, len(text), layout.PAYLOAD)]
        for number, piece in enumerate(pieces):
            block = self.start(kind)
            layout.put16(block, layout.AT_LENGTH, len(piece))
            block[layout.AT_PART], block[layout.AT_PARTS] = number, len(pieces)
            if kind == layout.SETUP and self.hashed:
                layout.put32(block, layout.AT_WHOLE, zlib.crc32(text))
            block[layout.AT_PAYLOAD : layout.AT_PAYLOAD + len(piece)] = piece
            self.put(block)

    def row(self, number: int, **values: int) -> list[int]:
        """A row of numbers that tell which row it is; `values` by column name."""
        out = []
        for at, (name, bits) in enumerate(zip(self.names, self.bits, strict=True)):
            plain = {"mark": 0, "flag": 0, "late": 3, "lamp": 1, "stall": 0, "heap": 60, "door": number % 7 == 0}
            value = values.get(name, plain.get(name, 1000 + 17 * at + number * (at + 1) * 37 % 997))
            out.append(int(value) & ((1 << bits) - 1))
        return out

    def rows(self, first: int, rows: list[list[int]], lost: int = 0, plain: bool = False) -> None:
        """All rows, in as many blocks as they need."""
        taken = 0
        while taken < len(rows):
            block = self.start(layout.PLAIN if plain else layout.PACKED)
            if plain:
                count = min(unpacking.plain_rows(self.bits), len(rows) - taken)
                write_plain(block, self.bits, rows[taken : taken + count], first + taken, lost)
            else:
                packer = packing.Packer(self.bits, 100)
                count = 0
                while taken + count < len(rows) and packer.add(rows[taken + count]):
                    count += 1
                packer.write(block, first + taken, lost)
            self.put(block)
            taken, lost = taken + count, 0

    def numbered(self, first: int, count: int, **values: int) -> None:
        self.rows(first, [self.row(n, **values) for n in range(first, first + count)])

    def data(self) -> bytes:
        return b"".join(self.blocks)


def resealed(block: bytes, **at: int) -> bytes:
    """A block with some bytes changed ('at_5=7') and its checksum made right again."""
    out = bytearray(block)
    for name, value in at.items():
        out[int(name.removeprefix("at_"))] = value
    layout.seal(out, memoryview(out)[: layout.AT_CRC])
    return bytes(out)
