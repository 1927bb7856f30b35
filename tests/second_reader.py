"""A second reader of ring files, written from shared_math/FORMAT.md alone. Imports nothing of the project.

Slow and plain on purpose: one value at a time out of one long integer per block. Tests compare the reader that
people use with this one; where they differ, one of the two or the page has a bug.
"""

from __future__ import annotations

import json
import re
import struct
import zlib
from dataclasses import dataclass, field
from pathlib import Path

SLOT = 512
SETUP, PACKED, PLAIN, BIRTH, HEALTH = 1, 2, 3, 4, 128


@dataclass
class Block:
    """One valid block; `payload` is bytes 22 to 507."""

    file: str
    slot: int
    kind: int
    ring: bytes
    sequence: int
    session: int
    head: bytes
    payload: bytes
    whole: bytes


@dataclass
class Session:
    """Columns as the setup text has them and, for each row number that is there, its values in that order."""

    setup: dict
    rows: dict[int, tuple[int, ...]] = field(default_factory=dict)

    def names(self) -> list[str]:
        return [column["n"] for column in self.setup["columns"]]


@dataclass
class Ring:
    """What one or two files of a drive hold."""

    sessions: dict[int, Session] = field(default_factory=dict)
    undecoded: list[int] = field(default_factory=list)  # sessions with rows and no whole setup group
    damaged: list[tuple[str, int]] = field(default_factory=list)
    foreign: int = 0
    refused: list[str] = field(default_factory=list)
    read: int = 0
    health: dict[int, dict] = field(default_factory=dict)


def before(a: int, b: int) -> bool:
    """Whether sequence a comes before b."""
    return 1 <= (b - a) % 2**32 <= 2**31 - 1


def read_ring(*paths: Path) -> Ring:
    """Everything that the files hold together."""
    ring = Ring()
    blocks, bad = [], []
    for path in paths:
        data = path.read_bytes()
        for slot in range(len(data) // SLOT):
            whole = data[slot * SLOT : (slot + 1) * SLOT]
            if whole == bytes(SLOT):
                continue
            block = _block(path.name, slot, whole, ring)
            if block:
                blocks.append(block)
            elif block is None:
                bad.append((path.name, slot))
    by_ring: dict[bytes, list[Block]] = {}
    for block in blocks:
        by_ring.setdefault(block.ring, []).append(block)
    if not by_ring:
        ring.damaged = bad
        return ring
    ours = by_ring[_newest(blocks, by_ring)]
    ring.foreign = len(blocks) - len(ours)
    ring.damaged = [(file, slot) for file, slot in bad if not _unwritten(file, slot, ours)]
    _decode(_each_once(ours, ring), ring)
    return ring


def _newest(blocks: list[Block], by_ring: dict[bytes, list[Block]]) -> bytes:
    """The id of the ring that was begun last (rule 3)."""
    names = list(dict.fromkeys(block.file for block in blocks))
    drives = [name for name in names if not name.startswith("pulls")] or names
    lead = [block for block in blocks if block.file == drives[0]]
    for block in lead:
        if block.slot == 0:
            return block.ring
    left = set(by_ring)
    for block in blocks:
        if block.kind == BIRTH and block.head[2:6] != block.ring:
            left.discard(block.head[2:6])
    left = left or set(by_ring)
    clocks = {}
    for block in blocks:
        told = re.search(rb'"utc":\s*"(\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ)"', block.payload)
        if block.kind == SETUP and told:
            clocks[block.ring] = max(clocks.get(block.ring, b""), told[1])
    if len(left) > 1 and all(ring in clocks for ring in left):
        latest = [ring for ring in left if clocks[ring] == max(clocks[one] for one in left)]
        if len(latest) == 1:
            return latest[0]
    for block in blocks:
        if block.file.startswith("pulls") and block.slot == 0 and block.ring in left:
            return block.ring
    return next(block.ring for block in [*lead, *blocks] if block.ring in left)


def _block(file: str, slot: int, whole: bytes, ring: Ring) -> Block | bool | None:
    """The block in a slot; None if damaged, False if it is a block that must not be interpreted."""
    if zlib.crc32(whole[:508]) != int.from_bytes(whole[508:], "little") or whole[:2] != b"\x52\x70" or whole[2] == 0:
        return None
    version, kind = whole[2], whole[3]
    if version > 1:
        ring.refused.append(f"version {version}")
        return False
    if 5 <= kind <= 127 or kind == 0:
        ring.refused.append(f"unknown kind {kind}")
        return False
    sequence, session = struct.unpack_from("<IH", whole, 8)
    return Block(file, slot, kind, whole[4:8], sequence, session, whole[14:22], whole[22:508], whole)


def _unwritten(file: str, slot: int, ours: list[Block]) -> bool:
    """Whether a slot lies after the newest block of its file and no block of this ring stands there or beyond."""
    here = [block for block in ours if block.file == file]
    if not here:
        return True
    newest = here[0]
    for block in here:
        if before(newest.sequence, block.sequence):
            newest = block
    return slot > newest.slot and not any(block.slot > newest.slot for block in here)


def _each_once(blocks: list[Block], ring: Ring) -> list[Block]:
    """Blocks in the order of their sequence, copies counted once; of two that differ, the one with right neighbours."""
    known: dict[int, list[Block]] = {}
    for block in blocks:
        same = known.setdefault(block.sequence, [])
        if all(block.whole != other.whole for other in same):
            same.append(block)
    places = {(block.file, block.slot): block.sequence for block in blocks}
    out = []
    for sequence, found in known.items():
        if len(found) > 1:
            fitting = []
            for block in found:
                left = places.get((block.file, block.slot - 1)) == (sequence - 1) % 2**32
                right = places.get((block.file, block.slot + 1)) == (sequence + 1) % 2**32
                if left and right:
                    fitting.append(block)
            ring.refused.append(f"sequence {sequence} twice")
            found = fitting if len(fitting) == 1 else []
        out += found
    if not out:
        return out
    anchor = blocks[0].sequence
    out.sort(key=lambda block: (block.sequence - anchor + 2**31) % 2**32)
    ring.read = len(out)
    _count_on(out)
    return out


def _count_on(blocks: list[Block]) -> None:
    """Give sessions whose number was used before, 65535 power-ons ago, one of their own."""
    met, last, turns = set(), 0, 0
    for block in blocks:
        if block.session:
            if last > 32767 > block.session and block.session + 65535 * turns in met:
                turns += 1
            last = block.session
            block.session += 65535 * turns
            met.add(block.session)


def _decode(blocks: list[Block], ring: Ring) -> None:
    setups: dict[int, dict] = {}
    parts: dict[int, list[Block]] = {}
    for at, block in enumerate(blocks):
        if block.kind == SETUP:
            parts.setdefault(block.session, []).append(block)
        if block.kind == SETUP and block.session not in setups and block.head[2] == 0:
            group = blocks[at : at + block.head[3]]
            text = _text(group, block)
            setup = None if text is None else _usable(text)
            if setup is not None:
                setups[block.session] = setup
        elif block.kind == HEALTH:
            length = struct.unpack_from("<H", block.head)[0]
            try:
                ring.health[block.session] = json.loads(block.payload[:length].decode("utf-8"))
            except (ValueError, RecursionError):
                continue
    for number, held in parts.items():
        for text in _put_together(held) if number not in setups else ():
            setup = _usable(text)
            if setup is not None:
                setups[number] = setup
                break
    for block in blocks:
        if block.kind not in (PACKED, PLAIN):
            continue
        if block.session not in setups:
            if block.session not in ring.undecoded:
                ring.undecoded.append(block.session)
            continue
        session = ring.sessions.setdefault(block.session, Session(setups[block.session]))
        widths = [column["b"] for column in session.setup["columns"]]
        first, count = struct.unpack_from("<IH", block.head)
        count &= 0x7FFF  # bit 15 is a note of the logger to itself
        endless = count > 1024 and count * session.setup["period_us"] > 10_000_000  # rule 11
        columns = None if endless else (unpack if block.kind == PACKED else unplain)(block.payload, widths, count)
        if columns is None or count == 0:
            ring.damaged.append((block.file, block.slot))
            continue
        for number, row in enumerate(zip(*columns, strict=True), first):
            session.rows[number] = row
    for session in ring.sessions.values():
        session.rows = dict(sorted(session.rows.items()))


def _usable(text: bytes) -> dict | None:
    """The setup that a text holds, None where it does not describe rows."""
    try:
        setup = json.loads(text.decode("utf-8"))
    except (ValueError, RecursionError):
        return None
    columns = setup.get("columns") if isinstance(setup, dict) else None
    if not isinstance(columns, list) or not 1 <= len(columns) <= 512:
        return None
    if not _number(setup.get("period_us")) or not 1 <= setup["period_us"] <= 10**9:
        return None
    for column in columns:
        if not isinstance(column, dict) or any(not isinstance(column.get(key), str) for key in ("n", "r")):
            return None
        if type(column.get("b")) is not int or not 1 <= column["b"] <= 24:
            return None
        if column["r"] == "adc" and not (_number(column.get("s")) and _number(column.get("o"))):
            return None
    names = {column["n"] for column in columns}
    return setup if len(names) == len(columns) and "row" not in names else None


def _number(value: object) -> bool:
    return type(value) in (int, float) and abs(value) <= 1.7976931348623157e308


def _text(group: list[Block], first: Block) -> bytes | None:
    """The text of a setup group if every part is there."""
    parts = first.head[3]
    if len(group) < parts or parts == 0:
        return None
    text = b""
    for part, block in enumerate(group):
        expected = (SETUP, first.session, (first.sequence + part) % 2**32, part, parts)
        if (block.kind, block.session, block.sequence, block.head[2], block.head[3]) != expected:
            return None
        text += block.payload[: struct.unpack_from("<H", block.head)[0]]
    wholes = {block.head[4:8] for block in group}
    return text if len(wholes) == 1 and _is_whole(text, first.head[4:8]) else None


def _is_whole(text: bytes, told: bytes) -> bool:
    return told == bytes(4) or zlib.crc32(text).to_bytes(4, "little") == told


def _put_together(blocks: list[Block]) -> list[bytes]:
    """Texts of which each part is left in some group, by the hash of the whole, else where all groups agree."""
    kinds: dict[tuple[bytes, int], dict[int, set[bytes]]] = {}
    for block in blocks:
        if block.head[2] < block.head[3]:
            text = block.payload[: struct.unpack_from("<H", block.head)[0]]
            kinds.setdefault((block.head[4:8], block.head[3]), {}).setdefault(block.head[2], set()).add(text)
    out = []
    for (told, count), held in kinds.items():
        if len(held) == count and all(len(texts) == 1 for texts in held.values()):
            text = b"".join(next(iter(held[part])) for part in range(count))
            if _is_whole(text, told):
                out.append(text)
    return out


def unpack(payload: bytes, widths: list[int], count: int) -> list[list[int]] | None:
    """Columns of a packed block, or None where the stream breaks a rule."""
    stream, at = int.from_bytes(payload, "little"), 0
    end = 8 * len(payload)

    def take(bits: int) -> int:
        nonlocal at
        value = stream >> at & ((1 << bits) - 1)
        at += bits
        return value

    kinds = [(word & 31, word >> 5) for word in (take(6) for _ in widths)]
    references = []
    for bits, (_, difference) in zip(widths, kinds, strict=True):
        start, step = take(bits), 0
        if difference:
            step = take(bits + 1)
            step -= (step >> bits) << (bits + 1)
        references.append((start, step))
    if at + sum(width * (count - difference) for width, difference in kinds) > end:
        return None
    columns = []
    for bits, (width, difference), (start, step) in zip(widths, kinds, references, strict=True):
        if difference:
            column = [start]
            for _ in range(count - 1):
                column.append(column[-1] + step + take(width))
        else:
            column = [start + take(width) for _ in range(count)]
        if any(not 0 <= value < 1 << bits for value in column):
            return None
        columns.append(column)
    return columns


def unplain(payload: bytes, widths: list[int], count: int) -> list[list[int]] | None:
    """Columns of a plain block, or None where they would not fit or break their width."""
    columns, at = [], 0
    for bits in widths:
        size = 2 if bits <= 16 else 4
        if at + size * count > len(payload):
            return None
        column = [int.from_bytes(payload[at + n * size : at + (n + 1) * size], "little") for n in range(count)]
        if any(value >= 1 << bits for value in column):
            return None
        columns.append(column)
        at += size * count
    return columns


def values(session: Session, name: str) -> dict[int, float | None]:
    """Row number -> value of a channel (lambda, linear, table, pulses with per_rev), None where it can't be told."""
    channel = next(one for one in session.setup["config"]["channels"] if one["name"] == name)
    names = session.names()
    if channel["kind"] == "pulses":
        return _engine_speed(session, channel, names.index(name), names.index(name + ".age"))
    at = names.index(name)
    column = session.setup["columns"][at]
    held = names.index(name + ".held") if name + ".held" in names else None
    out: dict[int, float | None] = {}
    for number, row in session.rows.items():
        stale = held is not None and row[held] >= min(1000, 2 ** session.setup["columns"][held]["b"] - 1)
        out[number] = None if stale else _of_volts(channel, column["o"] + column["s"] * row[at])
    return out


def _of_volts(channel: dict, volts: float) -> float | None:
    if any(state["volts"][0] <= volts <= state["volts"][1] for state in channel.get("states", [])):
        return None
    value = along(channel["volts"], channel["values"], volts)
    return value / channel["stoich"] if value is not None and channel.get("scale") == "afr" else value


def along(xs: list[float], ys: list[float], x: float) -> float | None:
    """The value at x on the line through the points, none further than 1 % of their span beyond the ends."""
    low, high = min(xs[0], xs[-1]), max(xs[0], xs[-1])
    if not low - 0.01 * (high - low) <= x <= high + 0.01 * (high - low):
        return None
    points = sorted(zip(xs, ys, strict=True))
    pairs = list(zip(points, points[1:]))
    (x0, y0), (x1, y1) = next((pair for pair in pairs if x <= pair[1][0]), pairs[-1])
    return y0 + (x - x0) * (y1 - y0) / (x1 - x0)


def _engine_speed(session: Session, channel: dict, count: int, age: int) -> dict[int, float | None]:
    """Engine speed at each row: on the line between the means of the two cycles whose middles lie beside it."""
    columns, period_us = session.setup["columns"], session.setup["period_us"]
    turns = 1 if session.setup["config"].get("engine", {}).get("strokes", 4) == 2 else 2
    cycle = round(channel["per_rev"] * turns)
    out: dict[int, float | None] = dict.fromkeys(session.rows)
    for edges in _stretches(session, count, age, columns, period_us):
        known = dict(edges)
        means = []
        for number, time_us in edges:
            later = known.get(number + cycle)
            if later is not None:
                means.append(((time_us + later) / 2, 60e6 * cycle / (channel["per_rev"] * (later - time_us))))
        at = 0
        for row in session.rows:
            time_us = row * period_us
            while at + 2 < len(means) and means[at + 1][0] < time_us:
                at += 1
            if len(means) > 1 and means[0][0] <= time_us <= means[-1][0]:
                (t0, rpm0), (t1, rpm1) = means[at], means[at + 1]
                out[row] = rpm0 + (time_us - t0) * (rpm1 - rpm0) / (t1 - t0)
    return out


def _stretches(session: Session, count: int, age: int, columns: list[dict], period_us: float):
    """Lists of (edge number, microseconds) without a stop or a gap between them."""
    top, never = 2 ** columns[count]["b"], 2 ** columns[age]["b"] - 1
    found: list[tuple[int, float]] = []
    before: tuple[int, int] | None = None
    total = 0
    for row, cells in session.rows.items():
        if before is not None and row != before[0] + 1:
            if len(found) > 1:
                yield found
            found = []
        rose = 0 if before is None else (cells[count] - before[1]) % top
        total += rose
        before = row, cells[count]
        if rose and cells[age] < never:
            time_us = row * period_us - cells[age]
            if found and time_us - found[-1][1] > 2**20:
                yield found
                found = []
            found.append((total, time_us))
    if len(found) > 1:
        yield found
