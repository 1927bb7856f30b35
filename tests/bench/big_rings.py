"""Large ring files for the reading figures: blocks of one noisy drive over and over, numbered and sealed anew."""

from __future__ import annotations

import json
import zlib
from pathlib import Path

import numpy as np
from ring_bytes import write_plain

from shared_math import channels, config, layout, packing, unpacking

ANALOG = 12
RATE_HZ = 200
TEMPLATE_ROWS = 24_000  # two minutes
RING = b"bnch"
WRITE = 1 << 14  # blocks written together


def configuration() -> dict:
    """12 analog channels and a tach."""
    analog = [
        {"name": f"in_{n}", "input": f"a{n}", "kind": "linear", "unit": "V", "volts": [0, 5], "values": [0, 5]}
        for n in range(ANALOG)
    ]
    tach = {"name": "engine_speed", "input": "p0", "kind": "pulses", "per_rev": 2, "max_rpm": 9000}
    return {"version": 1, "rate_hz": RATE_HZ, "engine": {"cylinders": 4, "strokes": 4}, "channels": [*analog, tach]}


def template(rows: int = TEMPLATE_ROWS) -> tuple[list[dict], np.ndarray]:
    """(columns of the setup, (rows, columns) integers): moving signals with 2 counts of noise, an engine at 1500 to
    5500 rpm, rows taken up to 40 us late."""
    random = np.random.default_rng(3)
    columns = channels.columns(config.defaults(configuration()), lambda name: (12, 3.3, 0))
    time_s = np.arange(rows) / RATE_HZ
    out = np.zeros((rows, len(columns)), np.int64)
    edges = np.interp(time_s, time_s, np.cumsum((3500 + 2000 * np.sin(time_s / 5)) / 30 / RATE_HZ))
    for at, column in enumerate(columns):
        if column["r"] == "adc":
            wave = 2000 + (300 + 120 * at) * np.sin(2 * np.pi * 0.05 * 1.4 ** (at % 8) * time_s + at)
            out[:, at] = np.clip(np.rint(wave + random.normal(0, 2, rows)), 0, 4095)
        elif column["r"] == "count":
            out[:, at] = edges.astype(np.int64)
        elif column["r"] == "age":
            since = edges - np.floor(edges)
            out[:, at] = since / np.gradient(edges) / RATE_HZ * 1e6
        elif column["r"] == "late":
            out[:, at] = random.integers(0, 40, rows)
        elif column["r"] == "lamp":
            out[:, at] = layout.LAMP_RECORDING
    return columns, out


def blocks_of(rows: np.ndarray, bits: list[int], plain: bool) -> tuple[np.ndarray, np.ndarray]:
    """((n, 512) uint8 unsealed blocks, (n,) rows in each)."""
    out, counts = [], []
    taken = 0
    packer = packing.Packer(bits, RATE_HZ)
    table = rows.tolist()
    while taken < len(table):
        block = bytearray(layout.SLOT)
        layout.start_block(block, layout.PLAIN if plain else layout.PACKED, RING)
        layout.put16(block, layout.AT_SESSION, 1)
        if plain:
            count = min(unpacking.plain_rows(bits), len(table) - taken)
            write_plain(block, bits, table[taken : taken + count], 0, 0)
        else:
            packer.clear()
            count = 0
            while taken + count < len(table) and packer.add(table[taken + count]):
                count += 1
            packer.write(block, 0, 0)
        out.append(np.frombuffer(bytes(block), np.uint8))
        counts.append(count)
        taken += count
    return np.stack(out), np.array(counts)


def setup_blocks(columns: list[dict], config_told: dict) -> list[bytearray]:
    """A setup group, unnumbered."""
    head = {"firmware": "bench", "board": "desk", "utc": None, "period_us": round(1e6 / RATE_HZ), "columns": columns}
    text = json.dumps(head | {"config": config_told, "faults": []}).encode()
    parts = [text[at : at + layout.PAYLOAD] for at in range(0, len(text), layout.PAYLOAD)]
    out = []
    for number, part in enumerate(parts):
        block = bytearray(layout.SLOT)
        layout.start_block(block, layout.SETUP, RING)
        layout.put16(block, layout.AT_SESSION, 1)
        layout.put16(block, layout.AT_LENGTH, len(part))
        block[layout.AT_PART], block[layout.AT_PARTS] = number, len(parts)
        block[layout.AT_PAYLOAD : layout.AT_PAYLOAD + len(part)] = part
        out.append(block)
    return out


def write(path: Path, size: int, plain: bool = False) -> tuple[int, int]:
    """Write a ring file of about `size` bytes; returns (rows, columns). The count of edges goes on rising if packed."""
    columns, table = template()
    bits = [column["b"] for column in columns]
    blocks, counts = blocks_of(table, bits, plain)
    raised = None if plain else _raised(table, blocks, bits, [column["r"] for column in columns].index("count"))
    return _write(path, columns, configuration(), blocks, counts, size // layout.SLOT, raised), len(columns)


def write_laps(path: Path, columns: list[dict], table: np.ndarray, laps: int, told: dict, rising: str = "") -> int:
    """Write a ring file that holds the rows of a table `laps` times; returns its rows. told: the configuration.
    rising: name of a column that goes on rising by its last value from lap to lap."""
    bits = [column["b"] for column in columns]
    blocks, counts = blocks_of(table, bits, False)
    names = [column["n"] for column in columns]
    raised = _raised(table, blocks, bits, names.index(rising)) if rising else None
    return _write(path, columns, told, blocks, counts, laps * len(blocks), raised)


def _raised(table: np.ndarray, blocks: np.ndarray, bits: list[int], column: int) -> tuple[int, np.ndarray, int]:
    """What a column rises by from lap to lap, where its references stand, and how many bits they have."""
    return int(table[-1, column]), _reference_places(blocks, bits, column), bits[column]


def _reference_places(blocks: np.ndarray, bits: list[int], column: int) -> np.ndarray:
    """(n,) the bit of each packed block at which a column's reference begins."""
    stream = np.unpackbits(blocks[:, layout.AT_PAYLOAD :], axis=1, bitorder="little")
    place = np.full(len(blocks), layout.AT_PAYLOAD * 8 + layout.DESCRIPTOR_BITS * len(bits))
    for c in range(column):
        steps = stream[:, layout.DESCRIPTOR_BITS * (c + 1) - 1].astype(np.int64)
        place += bits[c] + steps * (bits[c] + 1)
    return place


def _raise(blocks: np.ndarray, places: np.ndarray, by: np.ndarray, bits: int) -> None:
    """Add `by` to the references of so many bits at the bits `places`."""
    at, shift, which = places >> 3, places & 7, np.arange(len(blocks))
    touched = range(bits // 8 + 2)
    word = sum(blocks[which, at + k].astype(np.int64) << 8 * k for k in touched)
    full = (1 << bits) - 1
    value = (word >> shift) + by & full
    word = word & ~(full << shift) | value << shift
    for k in touched:
        blocks[which, at + k] = word >> 8 * k & 0xFF


def _write(
    path: Path, columns: list[dict], told: dict, blocks: np.ndarray, counts: np.ndarray, least: int, raised=None
) -> int:
    """Setup groups and at least `least` row blocks, taken in turn and over again; returns the rows. raised: (step for
    each time round, places of the references it is added to, their bits)."""
    group = np.stack([np.frombuffer(bytes(block), np.uint8) for block in setup_blocks(columns, told)])
    span = layout.SETUP_EVERY - len(group)
    sequence = row = taken = 0
    with open(path, "wb") as file:
        while taken < least:
            parts, numbers = [], []
            while sum(map(len, parts)) < WRITE and taken < least:
                at = np.arange(taken, min(taken + span, least)) % len(blocks)
                some = blocks[at]
                if raised:
                    laps = np.arange(taken, taken + len(at)) // len(blocks)
                    _raise(some, raised[1][at], laps * raised[0], raised[2])
                parts += [group, some]
                firsts = row + np.cumsum(counts[at]) - counts[at]
                numbers += [np.zeros(len(group), np.int64), firsts]
                row, taken = int(firsts[-1] + counts[at][-1]), taken + len(at)
            out = np.concatenate(parts)
            _number(out, np.concatenate(numbers), sequence)
            file.write(out.tobytes())
            sequence += len(out)
    return row


def _number(blocks: np.ndarray, first_rows: np.ndarray, sequence: int) -> None:
    """Sequence numbers from `sequence` on, first rows, checksums."""
    words = blocks.view("<u4")
    words[:, layout.AT_SEQUENCE // 4] = np.arange(sequence, sequence + len(blocks))
    halves = blocks.view("<u2")
    is_rows = blocks[:, layout.AT_KIND] != layout.SETUP
    halves[is_rows, layout.AT_FIRST_ROW // 2] = first_rows[is_rows] & 0xFFFF
    halves[is_rows, layout.AT_FIRST_ROW // 2 + 1] = first_rows[is_rows] >> 16
    for at, block in enumerate(blocks[:, : layout.AT_CRC]):
        words[at, layout.AT_CRC // 4] = zlib.crc32(block.tobytes())
