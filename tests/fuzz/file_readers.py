"""One made-up file through the reader that people use and through the second one: the same rows, all of them true."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import second_reader
from made_files import Made

import ringpull
from ringpull.errors import RingpullError

SECOND_EVERY = 16  # of the files that are only damaged: what is left of them is known


def rows_of_second(source: Path) -> dict[int, dict[int, tuple[int, ...]]]:
    """Session -> row number -> values, by the second reader."""
    paths = [source / name for name in ("drive.rpl", "pulls.rpl") if (source / name).is_file()]
    ring = second_reader.read_ring(*(paths if source.is_dir() else [source]))
    return {number: session.rows for number, session in ring.sessions.items() if session.rows}


def look(source: Path, file: Made, number: int) -> bool:
    """Whether the file could be read at all. AssertionError where the readers differ or a row is invented."""
    try:
        drive = ringpull.read(source)
        raws = {session.id: session._raw for session in drive.sessions}  # raw() without pandas, which takes longest
        assert all(session.gaps() is not None for session in drive.sessions) and drive.blocks.read > 0
    except RingpullError:
        raws = {}
    raws = {session: raw for session, raw in raws.items() if len(raw["row"])}
    if file.left is not None:
        left = file.left if raws else file.left[:0]
        found = np.concatenate([left[:0], *(np.stack(list(raw.values()), axis=1) for raw in raws.values())])
        np.testing.assert_array_equal(found, left, "rows are missing, or invented")
        if number % SECOND_EVERY:
            return bool(raws)
    got: dict[int, dict[int, tuple[int, ...]]] = {}
    for session, raw in raws.items():
        row = raw["row"].tolist()
        assert all(a < b for a, b in zip(row, row[1:])), "rows do not rise"
        columns = [values.tolist() for name, values in raw.items() if name != "row"]
        got[session] = dict(zip(row, zip(*columns, strict=True), strict=True))
    assert got == rows_of_second(source), "the two readers differ"
    return bool(got)
