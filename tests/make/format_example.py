"""The example of FORMAT.md: a ring file of three blocks, and its annotated dump."""

from __future__ import annotations

import json
from binascii import crc32

from shared_math import layout, packing

RING = bytes([0x1D, 0x0C, 0xA7, 0x5E])
COLUMNS = [{"n": "lambda_1", "r": "adc", "b": 12, "s": 0.002, "o": 0.001}, {"n": "mark", "r": "mark", "b": 16}]
ROWS = [[1000, 0], [1003, 0], [1001, 1], [1004, 1]]
NOTES = {
    0: "magic 'Rp', version 1, kind",
    4: "ring id",
    8: "sequence",
    12: "session",
    22: "payload",
    508: "CRC-32 of bytes 0 to 507",
}
BY_KIND = {
    layout.BIRTH: {
        14: "length 8",
        16: "ring before: not known; reserved",
        22: "slots in the file: 3",
        26: "drive.rpl, reserved",
    },
    layout.SETUP: {14: "length", 16: "part 0 of 1", 18: "CRC-32 of the whole text", 22: "the setup text"},
    layout.PACKED: {
        14: "first row 7",
        18: "4 rows",
        20: "2 rows lost before",
        22: "descriptors, references, residuals",
    },
}


def build() -> bytes:
    """The file's 1536 bytes."""
    return b"".join(_sealed(block, sequence) for sequence, block in enumerate([_birth(), _setup(), _rows()]))


def _start(kind: int) -> bytearray:
    block = bytearray(layout.SLOT)
    layout.start_block(block, kind, RING)
    return block


def _sealed(block: bytearray, sequence: int) -> bytes:
    layout.put32(block, layout.AT_SEQUENCE, sequence)
    layout.put16(block, layout.AT_SESSION, 1 if sequence else 0)
    layout.seal(block, memoryview(block)[: layout.AT_CRC])
    return bytes(block)


def _birth() -> bytearray:
    block = _start(layout.BIRTH)
    layout.put16(block, layout.AT_LENGTH, 8)
    layout.put32(block, layout.AT_PAYLOAD, 3)
    return block


def _setup() -> bytearray:
    text = json.dumps(
        {"firmware": "0.1.0", "board": "desk", "utc": None, "period_us": 5000, "columns": COLUMNS, "config": {}},
        separators=(",", ":"),
    ).encode()
    block = _start(layout.SETUP)
    layout.put16(block, layout.AT_LENGTH, len(text))
    block[layout.AT_PARTS] = 1
    layout.put32(block, layout.AT_WHOLE, crc32(text))
    block[layout.AT_PAYLOAD : layout.AT_PAYLOAD + len(text)] = text
    return block


def _rows() -> bytearray:
    packer = packing.Packer([column["b"] for column in COLUMNS], 10)
    for row in ROWS:
        assert packer.add(row)
    block = _start(layout.PACKED)
    packer.write(block, 7, 2)
    return block


def dump(data: bytes) -> str:
    """Lines `offset: bytes  meaning`, 16 bytes at most each; zeros up to the CRC are left out and said."""
    lines = []
    for start in range(0, len(data), layout.SLOT):
        block = data[start : start + layout.SLOT]
        notes = dict(sorted({**NOTES, **BY_KIND[block[layout.AT_KIND]]}.items()))
        used = len(block[: layout.AT_CRC].rstrip(b"\0"))
        at = 0
        while at < layout.SLOT:
            if used <= at < layout.AT_CRC:
                lines.append(f"{start + at:04x}: zeros up to byte {start + layout.AT_CRC - 1:04x}")
                at = layout.AT_CRC
                continue
            end = min([note for note in notes if note > at] + [layout.SLOT, at + 16] + ([used] if at < used else []))
            note = notes.get(at, "")
            lines.append(f"{start + at:04x}: {block[at:end].hex(' '):<47}  {note}".rstrip())
            at = end
    return "\n".join(lines)


def undump(text: str) -> bytes:
    """The bytes that a dump stands for."""
    out = bytearray()
    for line in text.strip().splitlines():
        offset, rest = line.split(": ", 1)
        assert int(offset, 16) == len(out), f"the dump skips from {len(out):04x} to {offset}"
        if rest.startswith("zeros"):
            out += bytes(int(rest.rsplit(" ", 1)[1], 16) + 1 - len(out))
        else:
            out += bytes.fromhex(rest[:47])
    return bytes(out)


if __name__ == "__main__":
    print(dump(build()))
