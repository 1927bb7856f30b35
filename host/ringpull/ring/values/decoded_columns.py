"""A session's tables, raw integers or values in engineering units, whole or in pieces."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from ringpull.files.configuration import ConfiguredChannel, crank_of
from ringpull.ring.blocks.cores import two_at_a_time
from ringpull.ring.rows import unpack
from ringpull.ring.rows.sessions import SessionBlocks
from ringpull.ring.rows.setup import Setup
from ringpull.ring.values import analog, on_time, pulses
from shared_math import channels as shared_channels
from shared_math import layout

Table = dict[str, np.ndarray]

MARGIN_S = 5.0  # a piece is decoded with its neighbourhood, which whole cycles and missing edges depend on
TWO_FROM = 1 << 18  # from so many rows, two threads decode channels
STREAMED = 1024  # blocks unpacked together if memory matters
LEAST_ROWS = 1 << 16  # least rows of a piece


def decodable(setup: Setup) -> list[ConfiguredChannel]:
    """The channels of the configuration that have columns."""
    kinds = shared_channels.ANALOG_KINDS
    out = []
    for channel in setup.config.channels:
        name, kind = channel.name, channel.kind
        if kind in kinds:
            there = setup.column(name, "adc") is not None and setup.column(channel.cold or name, "adc") is not None
        elif kind in shared_channels.PULSE_KINDS:
            there = setup.column(name, "count") is not None and setup.column(name + ".age", "age") is not None
            if channel.kind == "pulse_width":
                there = there and setup.column(name + ".on", "on_us") is not None
        elif kind in shared_channels.BUS_KINDS:
            there = setup.column(name, "bus") is not None
        else:
            there = kind == "digital" and setup.column(name, "digital") is not None
        if there:
            out.append(channel)
    return out


def channel_value(setup: Setup, channel: ConfiguredChannel, table: Table, fast: bool = False) -> np.ndarray:
    """(rows,) values of a decodable channel except an injector, float. table: as from raw(). fast: use compiled code,
    which must be available."""
    if channel.kind in shared_channels.ANALOG_KINDS:
        return analog.value(setup, channel, table)
    if channel.kind in shared_channels.PULSE_KINDS:
        return pulses.value(setup, channel, table, fast)
    if channel.kind in shared_channels.BUS_KINDS:
        return analog.from_bus(setup, channel, table)
    return table[channel.name].astype(float)


def raw(blocks: SessionBlocks) -> Table:
    """`row` and every column of the setup, in order: (rows,) unsigned integers, row numbers rising."""
    setup = blocks.setup
    parts: list[tuple[np.ndarray, dict[int, np.ndarray]]] = list(blocks.pieces())
    if parts:
        row = np.concatenate([part[0] for part in parts])
        out = {"row": row}
        for c, name in enumerate(setup.names):
            out[name] = np.concatenate([part[1][c] for part in parts])
            for part in parts:
                del part[1][c]
    else:
        out = {"row": np.zeros(0, np.int64)}
        out |= {name: np.zeros(0, unpack.dtype_of(bits)) for name, bits in zip(setup.names, setup.bits)}
    return out if blocks.ordered else rising(out)


def rising(table: Table) -> Table:
    """The rows in order of their numbers; of several with one number the one written last."""
    row = table["row"]
    by_row = np.argsort(row, kind="stable")
    last = np.concatenate([row[by_row][1:] != row[by_row][:-1], [True]]) if len(row) else np.zeros(0, bool)
    keep = by_row[last]
    return {name: column[keep] for name, column in table.items()}


def decoded(blocks: SessionBlocks, table: Table, keep: slice = slice(None)) -> Table:
    """session, time_s, the channels' values, mark. table: as from raw(). keep: wanted rows; others are only context."""
    setup = blocks.setup
    row = table["row"]
    out: Table = {
        "session": np.full(len(row[keep]), blocks.id, np.int64),
        "time_s": row[keep] * (setup.period_us / 1e6),
    }
    crank = crank_of(setup.config.channels)
    channels = decodable(setup)
    plain = [channel for channel in channels if channel.kind != "pulse_width"]
    plain.sort(key=lambda channel: channel.kind not in shared_channels.PULSE_KINDS)  # slowest first
    fast = unpack.fast_pays(sum(run.count for run in blocks.runs))
    made = two_at_a_time(lambda channel: channel_value(setup, channel, table, fast), plain, len(row) >= TWO_FROM)
    found = {channel.name: got for channel, got in zip(plain, made, strict=True)}
    rpm = None if crank is None else found.get(crank.name)
    for channel in channels:
        if channel.kind == "pulse_width":
            on_ms = on_time.on_ms(setup, channel, table, rpm)
            out[channel.column] = on_ms[keep]
            if rpm is not None:
                out[channel.duty_column] = on_time.duty_pct(setup, channel, on_ms, rpm)[keep]
            continue
        out[channel.column] = found[channel.name][keep]
    at = setup.column("mark", "mark")
    mark = table["mark"][keep].astype(np.int64) if at is not None else np.zeros(len(row[keep]), np.int64)
    out["mark"] = np.where(layout.mark_open(mark), layout.mark_pull(mark), 0)
    return out


def raw_pieces(blocks: SessionBlocks, least: int = LEAST_ROWS, most: int = STREAMED) -> Iterator[Table]:
    """raw() in pieces of at least `least` rows (except the last), unpacked `most` blocks at a time; in one piece if
    rows are not in order."""
    names = blocks.setup.names
    waiting: list[tuple[np.ndarray, dict[int, np.ndarray]]] = []
    rows = 0

    def joined() -> Table:
        out = {"row": np.concatenate([part[0] for part in waiting])}
        return out | {name: np.concatenate([part[1][c] for part in waiting]) for c, name in enumerate(names)}

    if not blocks.ordered:
        yield raw(blocks)
        return
    for piece in blocks.pieces(most=most):
        waiting.append(piece)
        rows += len(piece[0])
        if rows >= least:
            yield joined()
            waiting, rows = [], 0
    if waiting:
        yield joined()


def pieces(blocks: SessionBlocks, least: int = LEAST_ROWS, most: int = STREAMED) -> Iterator[Table]:
    """decoded() in pieces, each computed with MARGIN_S of rows on both sides, so that joints do not show."""
    margin = round(MARGIN_S * 1e6 / blocks.setup.period_us)
    before: Table | None = None
    now: Table | None = None
    for after in raw_pieces(blocks, max(least, margin), most):
        if now is not None:
            yield _decoded_between(blocks, before, now, after, margin)
            before = {name: column[-margin:] for name, column in now.items()}
        now = after
    if now is not None:
        yield _decoded_between(blocks, before, now, None, margin)


def _decoded_between(
    blocks: SessionBlocks, before: Table | None, now: Table, after: Table | None, margin: int
) -> Table:
    parts = [now]
    first = 0
    if before is not None:
        parts.insert(0, before)
        first = len(before["row"])
    if after is not None:
        parts.append({name: column[:margin] for name, column in after.items()})
    whole = {name: np.concatenate([part[name] for part in parts]) for name in now} if len(parts) > 1 else now
    return decoded(blocks, whole, slice(first, first + len(now["row"])))
