"""Ring files made up from a seed: whole ones with damaged sectors, and ones that no logger wrote, checksums right.

The same seed gives the same files: what is found is repeated by its number.
"""

from __future__ import annotations

import copy
import json
import random
import zlib
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
from ring_bytes import CONFIG, Ring, columns_of

SLOT, END, HEAD = 512, 508, 22
SETUP, PACKED, PLAIN, BIRTH, HEALTH = 1, 2, 3, 4, 128
DEMO = Path(__file__).resolve().parents[2] / "demo_logs" / "v1_marked"

GROUPS_AFTER = (8, 32, 60)  # row blocks between the setup groups of a short drive
ROWS = 10  # in each of its blocks

SMALL = {
    "version": 1,
    "rate_hz": 100,
    "engine": {"cylinders": 4, "strokes": 4},
    "channels": [
        {"name": "lambda_1", "input": "a0", "kind": "lambda", "volts": [0.0, 5.0], "values": [0.6, 1.4]},
        {"name": "engine_speed", "input": "p0", "kind": "pulses", "per_rev": 2, "max_rpm": 9000},
    ],
}

# What stands where something else belongs: limits of every type on the way, and beyond them
NUMBERS = [0, 1, -1, 2, 0.5, 7, 100, 255, 256, 1000, 65535, 65536, 2**31 - 1, 2**31, 2**32 - 1, 2**32, 2**63, 10**30]
NUMBERS += [-0.5, -(2**31), 1e-300, 1e300, 1.8e308, 5e-324, 12.0, 0.6, 1.4, 200, 10**9, 10**9 + 1]
TEXTS = ["", "row", "time_s", "session", "mark", "lambda_1", "engine_speed", "map", "throttle", "\x00", "\n", "\u202e"]
TEXTS += [
    "[red]x[/red]",
    "<script>alert(1)</script>",
    "\ud800",
    "é" * 300,
    "x" * 5000,
    "../../etc",
    "%s%n",
    'a,b"c',
    "adc",
]
TEXTS += ["count", "age", "held", "linear", "pulses", "kPa", "=1+1", "1e5", "NaN", "2024-02-30T25:61:61Z", "9" * 400]
OTHERS = [None, True, False, [], {}, [[]], [1, 2, 3], {"a": 1}, float("nan"), float("inf")]


@dataclass
class Made:
    """files: name -> bytes, of one card. left: of a file that was only damaged, the rows of its intact blocks, number
    and values (rows, 1 + columns). notes: of the file of remarks beside it, None for none."""

    files: dict[str, bytes]
    left: np.ndarray | None = None
    notes: bytes | None = None

    def put(self, folder: Path) -> Path:
        """Write them; returns what a command is given."""
        for old in folder.iterdir():
            old.unlink()
        for name, data in self.files.items():
            (folder / name).write_bytes(data)
        alone = len(self.files) == 1
        if self.notes is not None:
            (folder / ("drive.rpl.notes.json" if alone else "notes.json")).write_bytes(self.notes)
        return folder / next(iter(self.files)) if alone else folder


def sealed(block: bytes | bytearray) -> bytes:
    """The block with a right checksum."""
    return bytes(block[:END]) + zlib.crc32(block[:END]).to_bytes(4, "little")


def with_number(block: bytes, at: int, size: int, value: int) -> bytes:
    """The block with another number in its header, and a right checksum."""
    out = bytearray(block)
    out[at : at + size] = (value % 256**size).to_bytes(size, "little")
    return sealed(out)


def number(block: bytes, at: int, size: int) -> int:
    return int.from_bytes(block[at : at + size], "little")


def revs(n: int) -> dict[str, int]:
    """An engine at 4500 rpm."""
    return {"engine_speed": n * 3 // 2, "engine_speed.age": 100 if n % 2 == 0 else 1767}


def turning(ring: Ring, first: int, count: int, **more: int) -> None:
    """Rows of a turning engine."""
    ring.rows(first, [ring.row(n, **revs(n), **more) for n in range(first, first + count)])


@cache
def small_ring() -> tuple[bytes, ...]:
    """A few seconds: birth, setup, packed and plain blocks, setup again, health."""
    ring = Ring(settings=SMALL)
    birth = ring.start(BIRTH)
    birth[14], birth[22] = 8, 20
    birth[12:14] = bytes(2)
    ring.put(birth)
    ring.setup()
    turning(ring, 0, 20)
    ring.rows(20, [ring.row(n, **revs(n)) for n in range(20, 30)], plain=True)
    ring.setup()
    turning(ring, 30, 16, mark=1)
    ring.text(b'{"rows": 46, "lost": 0, "late_us": 40}', HEALTH)
    turning(ring, 46, 12)
    return tuple(ring.blocks)


@cache
def short_drive() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """((n, 512) blocks, (rows, 1 + columns) numbers and values, (rows,) block of each): its setup groups stand
    where the logger puts them."""
    ring = Ring()
    birth = ring.start(BIRTH)
    birth[14], birth[23] = 8, 1
    birth[12:14] = bytes(2)
    ring.put(birth)
    rows, block = [], []
    for blocks in GROUPS_AFTER:
        ring.setup()
        for _ in range(blocks):
            first = len(rows)
            ring.numbered(first, ROWS)
            rows += [[n, *ring.row(n)] for n in range(first, first + ROWS)]
            block += [len(ring.blocks) - 1] * ROWS
    return np.frombuffer(ring.data(), np.uint8).reshape(-1, SLOT), np.array(rows), np.array(block)


@cache
def rich_ring() -> tuple[bytes, ...]:
    """Two sessions with more channels, a hole, the wrap of the sequence."""
    ring = Ring(sequence=2**32 - 9)
    ring.setup()
    turning(ring, 0, 60)
    ring.rows(70, [ring.row(n, mark=1) for n in range(70, 80)], lost=10, plain=True)
    ring.session = 2
    ring.setup(utc="2026-05-01T10:00:00Z")
    ring.numbered(0, 20, flag=2)
    return tuple(ring.blocks)


@cache
def driven() -> tuple[tuple[bytes, ...], tuple[bytes, ...]]:
    """Blocks of a drive with one marked pull out of the kept log, and of its copies."""
    out = []
    for name in ("drive.rpl", "pulls.rpl"):
        data = (DEMO / name).read_bytes()
        blocks = [data[at : at + SLOT] for at in range(0, len(data), SLOT)]
        out.append(tuple(one for one in blocks if one[:2] == b"Rp" and one[3] != BIRTH))
    return out[0][:120], out[1][:60]


def damaged(chance: random.Random) -> Made:
    """A whole file of which one to eight sectors are hurt as storage does it."""
    blocks, rows, of_row = short_drive()
    out = [blocks[at].tobytes() for at in range(len(blocks))]
    intact = np.ones(len(out), bool)
    for at in chance.sample(range(len(out)), chance.randint(1, 8)):
        hurt = _hurt(out, at, chance)
        intact[at] = hurt == out[at]
        out[at] = hurt
    tail = bytes(SLOT * chance.choice((0, 0, 1, 3)))
    return Made({"drive.rpl": b"".join(out) + tail}, rows[intact[of_row]])


def _hurt(blocks: list[bytes], at: int, chance: random.Random) -> bytes:
    block = blocks[at]
    way = chance.randrange(6)
    if way == 0:
        out = bytearray(block)
        out[chance.randrange(SLOT)] ^= 1 << chance.randrange(8)
        return bytes(out)
    if way == 1:
        low = chance.randrange(SLOT - 32)
        return block[:low] + chance.randbytes(32) + block[low + 32 :]
    if way == 2:
        return chance.choice((bytes(SLOT), b"\xff" * SLOT, b"\x5a" * SLOT))
    if way == 3:  # torn
        other = chance.choice((bytes(SLOT), b"\xff" * SLOT, blocks[chance.randrange(len(blocks))]))
        cut = chance.randrange(12, SLOT)
        return block[:cut] + other[cut:]
    if way == 4:
        return chance.randbytes(SLOT)
    return block[-1:] + block[:-1]


def odd(chance: random.Random) -> object:
    """Something that belongs nowhere in particular."""
    kind = chance.random()
    if kind < 0.55:
        return chance.choice(NUMBERS)
    if kind < 0.8:
        return chance.choice(TEXTS)
    return copy.deepcopy(chance.choice(OTHERS))


def changed(told: object, chance: random.Random, times: int) -> object:
    """A JSON value with something in it replaced, taken away, doubled or added."""
    out = copy.deepcopy(told)
    for _ in range(times):
        here = out
        while isinstance(here, dict | list) and here:
            keys = list(here) if isinstance(here, dict) else list(range(len(here)))
            key = chance.choice(keys)
            below = here[key]
            if not isinstance(below, dict | list) or not below or chance.random() < 0.12:
                _change(here, key, chance)
                break
            here = below
    return out


def _change(holder: dict | list, key: object, chance: random.Random) -> None:
    way = chance.random()
    held = holder[key]
    if way < 0.5:
        holder[key] = odd(chance)
    elif way < 0.65 and isinstance(held, int | float) and not isinstance(held, bool):
        holder[key] = held * chance.choice((-1, 0, 1e-9, 0.001, 0.5, 2, 1000, 1e9))
    elif way < 0.8:
        del holder[key]
    elif isinstance(holder, list):
        holder.insert(chance.randrange(len(holder) + 1), copy.deepcopy(held))
    else:
        holder[chance.choice(TEXTS)] = copy.deepcopy(held)


def text_of(told: object, chance: random.Random) -> bytes:
    """A setup text; now and then one that is no JSON, or deep."""
    way = chance.random()
    if way < 0.02:
        return b"[" * chance.choice((10, 2000, 60000))
    if way < 0.03:
        return b'{"a":' * 5000
    if way < 0.04:
        return chance.randbytes(400)
    text = json.dumps(told, ensure_ascii=chance.random() < 0.5)
    if way < 0.06:
        text = text.replace('"period_us"', '"columns": 1, "period_us"', 1)
    return text.encode("utf-8", "surrogatepass")


def setup_parts(like: bytes, text: bytes, chance: random.Random) -> list[bytes]:
    """The text as setup blocks of the session and ring of the block `like`, their sequence still to be told."""
    pieces = [text[at : at + 486] for at in range(0, len(text), 486)][:255] or [b""]
    told = zlib.crc32(text) if chance.random() < 0.9 else chance.choice((0, 1))
    out = []
    for part, piece in enumerate(pieces):
        block = bytearray(like[:HEAD]) + piece + bytes(486 - len(piece)) + bytes(4)
        block[3] = SETUP
        block[14:16] = len(piece).to_bytes(2, "little")
        block[16], block[17] = part, len(pieces)
        block[18:22] = told.to_bytes(4, "little")
        out.append(sealed(block))
    return out


def own_setup(blocks: tuple[bytes, ...]) -> dict:
    """The setup that the blocks' first group tells."""
    first = next(at for at, one in enumerate(blocks) if one[3] == SETUP and one[16] == 0)
    parts = blocks[first : first + blocks[first][17]]
    return json.loads(b"".join(one[HEAD : HEAD + number(one, 14, 2)] for one in parts))


FIELDS = [(2, 1), (3, 1), (4, 4), (8, 4), (12, 2), (14, 4), (14, 2), (16, 1), (17, 1), (18, 4), (18, 2), (20, 2)]


def invented(chance: random.Random, drives: bool = False) -> Made:
    """A file as no logger writes it, its checksums right. drives: some are made of a real drive."""
    copies: list[bytes] = []
    if chance.random() < (0.1 if drives else 0.0):
        base, held = driven()
        copies = list(held) if chance.random() < 0.4 else []
    else:
        base = small_ring() if chance.random() < 0.7 else rich_ring()
    out = list(base)
    if chance.random() < 0.6:
        out = _with_other_setup(out, base, chance)
    for _ in range(chance.choice((0, 1, 1, 2, 3, 8))):
        out = _moved(out, chance)
    files = {"drive.rpl": b"".join(out)}
    if copies:
        for _ in range(chance.choice((0, 1, 3))):
            copies = _moved(copies, chance)
        files["pulls.rpl"] = b"".join(copies)
    if chance.random() < 0.03:
        files["drive.rpl"] = files["drive.rpl"][: chance.randrange(1, len(files["drive.rpl"]))]
    return Made(files, notes=notes(chance) if drives and chance.random() < 0.3 else None)


def _with_other_setup(out: list[bytes], base: tuple[bytes, ...], chance: random.Random) -> list[bytes]:
    """Every setup group replaced by one that tells something else; sequences told anew."""
    told = own_setup(base)
    if chance.random() < 0.5:
        told["config"] = changed(told["config"], chance, chance.randint(1, 4))
    else:
        told = changed(told, chance, chance.randint(1, 3))
    if chance.random() < 0.1:
        told = {"columns": columns_of(CONFIG), "period_us": 10**9, "config": CONFIG} | (
            told if isinstance(told, dict) else {}
        )
    text = text_of(told, chance)
    fresh = []
    for one in out:
        if one[3] != SETUP:
            fresh.append(one)
        elif one[16] == 0:
            fresh += setup_parts(one, text, chance)
    first = number(fresh[0], 8, 4)
    return [with_number(one, 8, 4, first + at) for at, one in enumerate(fresh)]


def _moved(blocks: list[bytes], chance: random.Random) -> list[bytes]:
    """The blocks with one thing changed: a header field, a byte, an order, a row number, a twin, another ring."""
    out = list(blocks)
    if not out:
        return out
    at = chance.randrange(len(out))
    block = out[at]
    way = chance.randrange(13)
    if way < 4:
        place, size = chance.choice(FIELDS)
        value = chance.choice(
            (number(block, place, size) + chance.choice((-2, -1, 1, 2)), chance.getrandbits(8 * size))
        )
        out[at] = with_number(block, place, size, chance.choice((value, 0, 256**size - 1)))
    elif way == 4:
        out[at] = with_number(block, chance.randrange(HEAD, END), 1, chance.getrandbits(8))
    elif way == 5:  # a descriptor, where the widths stand
        out[at] = with_number(block, HEAD + chance.randrange(8), 1, chance.choice((0, 255, chance.getrandbits(8))))
    elif way == 6:
        out.insert(chance.randrange(len(out) + 1), block)
    elif way == 7 and len(out) > 1:
        del out[at]
    elif way == 8:
        other = chance.randrange(len(out))
        out[at], out[other] = out[other], out[at]
    elif way == 9:  # from here on all rows are later, or come again
        by = chance.choice((1, 17, 1000, 10**6, 2**31, 2**32 - 100, -50))
        for k in range(at, len(out)):
            if out[k][3] in (PACKED, PLAIN):
                out[k] = with_number(out[k], 14, 4, number(out[k], 14, 4) + by)
    elif way == 10:  # from here on another session, or another ring
        place, size = chance.choice(((12, 2), (4, 4)))
        value = chance.choice((0, 1, 2, 65535, chance.getrandbits(8 * size)))
        out[at:] = [with_number(one, place, size, value) for one in out[at:]]
    elif way == 11:
        by = chance.choice((1, 5, 2**31, 2**31 - 1, 2**32 - 3))
        out[at:] = [with_number(one, 8, 4, number(one, 8, 4) + by) for one in out[at:]]
    else:
        out[at] = chance.choice((bytes(SLOT), chance.randbytes(SLOT), _hurt(out, at, chance)))
    if chance.random() < 0.05:
        out = [*out[at:], *out[:at]]
    return out


def notes(chance: random.Random) -> bytes:
    """Remarks beside a file, as nobody writes them."""
    way = chance.randrange(7)
    if way == 0:
        return b"[" * chance.choice((5, 100_000))
    if way == 1:
        return b'{"1": "a \\ud800 b", "2": "[bold]x[/bold]"}'
    if way == 2:
        return json.dumps(changed({"1": "first", "2": "second"}, chance, 2)).encode("utf-8", "replace")
    if way == 3:
        return chance.randbytes(50)
    if way == 4:
        return b'{"1": ' + b'{"a":' * 3000
    if way == 5:
        return json.dumps({str(n): "\u202e<b>" + "x" * 300 for n in range(50)}).encode()
    return b""


def made(seed: int, drives: bool = False) -> Made:
    """The file of this number. drives: for commands, some made of a real drive, and none only damaged."""
    chance = random.Random(seed)
    if not drives and chance.random() < 0.5:
        return damaged(chance)
    return invented(chance, drives)
