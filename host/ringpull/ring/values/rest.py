"""The hours of standstill in a long session, found by a glance at its blocks so that they need not be unpacked.

Nothing in them is judged; info, decode and view include them.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from ringpull.files.configuration import crank_of
from ringpull.ring.blocks import scan
from ringpull.ring.rows.glance import glance
from ringpull.ring.rows.sessions import BLOCK_ROWS, BLOCK_S, SessionBlocks, batches
from shared_math import layout

LONG_S = 7200.0  # shorter sessions are used whole
BESIDE_S = 60.0  # kept on each side of an edge or a marked pull: more than judging needs
GLANCE = 8192  # blocks examined together, 4 MiB

Span = tuple[int, int]  # row numbers, the second past the last


def awake(blocks: SessionBlocks) -> list[Span] | None:
    """The spans of rows within BESIDE_S of a turning engine or an open mark; None to use the whole session.

    None is for a short session, and for one without a crank signal, with rows out of order or with plain blocks.
    """
    if (blocks.end - blocks.first) * blocks.setup.period_us < LONG_S * 1e6:
        return None
    crank = crank_of(blocks.setup.config.channels)
    count = None if crank is None else blocks.setup.column(crank.name, "count")
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
    """The rows of stretches of blocks in which the crank's count may change or a mark is open."""
    wanted = [count] if mark is None else [count, mark]
    buffer = bytearray(GLANCE * layout.SLOT)
    last = None  # the crank's count and row number at the end of the previous batch
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
