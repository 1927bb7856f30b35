"""Cards for tests of the shelf: a kept log's blocks under other ids, as a logger in a car would have written them."""

from __future__ import annotations

import zlib
from pathlib import Path

from long_sessions import DEMO, drive_blocks, is_rows

from shared_math import layout

RING = b"car1"


def card(
    folder: Path,
    ring: bytes = RING,
    session: int = 1,
    most: int | None = None,
    utc: str | None = None,
    board: str = "rp2",
    config: tuple[bytes, bytes] = (b"", b""),
    spoilt: int | None = None,
) -> Path:
    """Write a card of one session. most: so many of the log's blocks, all by default. utc: what its clock told. config:
    a text of its configuration, and what stands in its place. spoilt: number of a row block whose rows are others."""
    blocks = drive_blocks()
    texts = setup_texts(blocks, board, utc, config)
    out, rows = [], 0
    for number, block in enumerate(blocks[:most]):
        made = bytearray(block[: layout.AT_CRC])
        if block[layout.AT_KIND] == layout.SETUP:
            text = texts[block[layout.AT_PART]]
            layout.put16(made, layout.AT_LENGTH, len(text))
            made[layout.AT_PAYLOAD :] = text.ljust(layout.PAYLOAD, b"\0")
        if is_rows(block):
            made[layout.AT_CRC - 1] ^= rows == spoilt
            rows += 1
        made[4:8] = ring
        layout.put16(made, layout.AT_SESSION, session)
        layout.put32(made, layout.AT_SEQUENCE, number)
        out.append(bytes(made) + zlib.crc32(made).to_bytes(4, "little"))
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "drive.rpl").write_bytes(b"".join(out))
    return folder


def setup_texts(blocks: list[bytes], board: str, utc: str | None, config: tuple[bytes, bytes]) -> list[bytes]:
    """The parts of the setup text as it is told here."""
    setups = [one for one in blocks if one[layout.AT_KIND] == layout.SETUP]
    parts = setups[0][layout.AT_PARTS]
    text = b"".join(
        one[layout.AT_PAYLOAD : layout.AT_PAYLOAD + layout.get16(one, layout.AT_LENGTH)] for one in setups[:parts]
    )
    told = text.replace(b'"board": "desk"', b'"board": "%s"' % board.encode()).replace(*config)
    told = told.replace(b'"utc": null', b'"utc": "%s"' % utc.encode()) if utc else told
    out = [told[at : at + layout.PAYLOAD] for at in range(0, len(told), layout.PAYLOAD)]
    assert len(out) == parts
    return out


def drive_config() -> Path:
    """The log's configuration."""
    return DEMO.with_name("logger.json")
