"""What a session's service columns tell: marked pulls, lateness, refused edges."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np

from ringpull.read.sessions import SessionBlocks
from shared_math import layout


@dataclass(frozen=True)
class MarkSpan:
    """A marked pull. end_s: None where it was open when the rows end. spoiled: kept, but left out of judgement.

    void: the press meant something else, and it is no pull.
    """

    id: int
    start_s: float
    end_s: float | None
    spoiled: bool
    void: bool


@dataclass
class Survey:
    """marks: in order of time. late_us_max, late_us_p99: None where rows do not tell. rejected: channel -> edges."""

    marks: list[MarkSpan]
    late_us_max: int | None
    late_us_p99: int | None
    rejected: dict[str, int]


@dataclass
class _Marks:
    """Follows the mark and flag columns over the rows."""

    period_s: float
    starts: dict[int, float] = field(default_factory=dict)
    ends: dict[int, float] = field(default_factory=dict)
    flags: dict[int, set[int]] = field(default_factory=dict)
    last: int = 0

    def rows(self, row: np.ndarray, mark: np.ndarray) -> None:
        changed = np.flatnonzero(np.diff(mark.astype(np.int64), prepend=self.last))
        for at in changed.tolist():
            now, time_s = int(mark[at]), int(row[at]) * self.period_s
            before, self.last = self.last, now
            if before & 1 and now != before:  # the open pull ended, here at the latest
                self.ends.setdefault((before + 1) >> 1, time_s)
            if now & 1:
                self.starts.setdefault((now + 1) >> 1, time_s)

    def flagged(self, flag: np.ndarray) -> None:
        for value in np.unique(flag).tolist():
            if value >> 1:
                self.flags.setdefault(value >> 1, set()).add(value & 1)

    def spans(self) -> list[MarkSpan]:
        return [
            MarkSpan(
                id=number,
                start_s=start_s,
                end_s=self.ends.get(number),
                spoiled=layout.FLAG_SPOILED in self.flags.get(number, ()),
                void=layout.FLAG_VOID in self.flags.get(number, ()),
            )
            for number, start_s in sorted(self.starts.items())
        ]


def of_blocks(blocks: SessionBlocks) -> Survey:
    """Unpacks only the columns it needs, a piece at a time."""
    names = blocks.setup.names
    wanted = [
        c for c, column in enumerate(blocks.setup.columns) if column["r"] in ("mark", "flag", "late", "rejected")
    ]
    return of_columns(
        blocks,
        ({"row": row} | {names[c]: got[c] for c in wanted} for row, got in blocks.pieces(wanted)),
    )


def of_columns(blocks: SessionBlocks, tables: Iterable[dict[str, np.ndarray]]) -> Survey:
    """From raw tables (`row` and columns) in order."""
    columns = blocks.setup.columns
    marks = _Marks(blocks.setup.period_us / 1e6)
    lateness = np.zeros(1 << layout.LATE_BITS, np.int64)
    rejected = {c["n"]: 0 for c in columns if c["r"] == "rejected"}
    last = dict.fromkeys(rejected, 0)
    for table in tables:
        for column in columns:
            name, role = column["n"], column["r"]
            if role == "mark":
                marks.rows(table["row"], table[name])
            elif role == "flag":
                marks.flagged(table[name])
            elif role == "late" and column["b"] <= layout.LATE_BITS:
                lateness += np.bincount(table[name], minlength=len(lateness))
            elif role == "rejected" and len(table[name]):
                steps = np.diff(table[name].astype(np.int64), prepend=last[name]) & ((1 << column["b"]) - 1)
                rejected[name] += int(steps.sum())
                last[name] = int(table[name][-1])
    rows = int(lateness.sum())
    there = np.flatnonzero(lateness)
    return Survey(
        marks=marks.spans(),
        late_us_max=int(there[-1]) if rows else None,
        late_us_p99=int(np.searchsorted(np.cumsum(lateness), 0.99 * rows)) if rows else None,
        rejected={name.removesuffix(".rejected"): count for name, count in rejected.items()},
    )
