"""The hours of a long session in which the engine stood: found by a glance at its blocks, so that they need not be
unpacked. Nothing that is judged happens in them; info, decode and view have them all the same."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from ringpull.ring.blocks import scan
from ringpull.ring.rows.glance import glance
from ringpull.ring.rows.sessions import BLOCK_ROWS, BLOCK_S, SessionBlocks, batches
from shared_math import channels as shared_channels
from shared_math import layout

LONG_S = 7200.0  # shorter sessions are taken whole
BESIDE_S = 60.0  # kept on each side of an edge or a marked pull: as far as anything judged looks
GLANCE = 8192  # blocks glanced at together, 4 MiB

Span = tuple[int, int]  # row numbers, the second past the last


def awake(blocks: SessionBlocks) -> list[Span] | None:
    """The spans of rows that lie within BESIDE_S of a turning engine or an open mark; None where that is all of the
    session: a short one, one without a crank signal, one whose rows are out of order or not all packed."""
    if (blocks.end - blocks.first) * blocks.setup.period_us < LONG_S * 1e6:
        return None
    crank = shared_channels.crank_of(blocks.setup.config.get("channels", []))
    count = None if crank is None else blocks.setup.column(crank["name"], "count")
    if count is None or not blocks.ordered or not blocks.all_packed():
        return None
    mark = blocks.setup.column("mark", "mark")
    beside = round(BESIDE_S * 1e6 / blocks.setup.period_us)
    apart = max(BLOCK_ROWS, round(BLOCK_S * 1e6 / blocks.setup.period_us))  # so that no block belongs to two spans
    out: list[Span] = []
    for first, end in _lively(blocks, count, mark):
        if out and first - beside <= out[-1][1] + apart:
            out[-1] = out[-1][0], max(out[-1][1], end + beside)
        else:
            out.append((max(first - beside, blocks.first), end + beside))
    return out


def _lively(blocks: SessionBlocks, count: int, mark: int | None) -> Iterator[Span]:
    """The rows of each batch's stretches of blocks in which the crank's count may change, or a mark is open."""
    wanted = [count] if mark is None else [count, mark]
    buffer = bytearray(GLANCE * layout.SLOT)
    last = None  # the crank's count and row number where the batch before ended
    for runs in batches(blocks.runs, GLANCE):
        data = blocks.store.fetch(runs, buffer)
        data = data[scan.is_rows(data[:, layout.AT_KIND])]
        if not len(data):
            continue
        seen = glance(data, blocks.setup.bits, wanted)
        halves = data.view("<u2")
        first = halves[:, layout.AT_FIRST_ROW // 2].astype(np.int64) | (
            halves[:, layout.AT_FIRST_ROW // 2 + 1].astype(np.int64) << 16
        )
        end = first + (halves[:, layout.AT_ROWS // 2] & layout.ROWS_MASK)
        counted = seen.first[count]
        before = np.concatenate([[counted[0] if last is None else last], counted[:-1]])
        last = counted[-1]
        lively = ~seen.constant[count] | (counted != before)
        if mark is not None:
            lively |= ~seen.constant[mark] | (layout.mark_open(seen.first[mark]) == 1)
        at = np.flatnonzero(lively)
        cuts = np.flatnonzero((np.diff(at) != 1) | (first[at[1:]] != end[at[:-1]])) + 1
        for part in np.split(at, cuts) if len(at) else ():
            yield int(first[part[0]]), int(end[part[-1]])
