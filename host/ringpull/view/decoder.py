"""A process that decodes rows of a drive for the page, while another process reads the whole drive.

Its input is pickled requests (rows.Want). It answers each with a pickled ("rows", session, first stretch, stretches),
preceded by ("fault", lines for the user) if the file can't be read any more. It ends when its input ends.
"""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
from contextlib import suppress
from pathlib import Path
from typing import IO

import numpy as np

from ringpull.errors import SourceChanged
from ringpull.view import reader
from ringpull.view.rows import STRETCH, Stretch, Want, decoded


def begin(source: Path, ring: str) -> subprocess.Popen:
    """Start it."""
    return reader.begin(source, ring, "ringpull.view.decoder")


def send(process: subprocess.Popen, want: Want) -> None:
    """Send a request for rows to the process. Raises OSError if the process has ended."""
    assert process.stdin is not None
    pickle.dump(want, process.stdin, pickle.HIGHEST_PROTOCOL)
    process.stdin.flush()


def nothing(columns: int) -> Stretch:
    """A stretch without rows."""
    return np.zeros(0, np.int64), np.zeros((columns, 0), np.float32)


def serve(source: Path, ring: str, wants: IO[bytes], out: IO[bytes]) -> None:
    """Answer requests until the input ends."""
    import ringpull
    from ringpull.report import data

    drive = ringpull.read(source, ring=ring)
    names = {session.id: [one["column"] for one in data.described(session)] for session in drive.sessions}
    # A trial run, so that the first request does not wait for imports and compilation; faults of the drive are reported
    # when rows are requested
    with suppress(Exception):
        session = drive.sessions[0]
        decoded(session, names[session.id], round(session.start_s / session.period_s) // STRETCH, 1)
    while True:
        try:
            session, first, count = pickle.load(wants)
        except EOFError:
            return
        said: list[reader.Message] = []
        try:
            stretches = decoded(drive.session(session), names[session], first, count)
        except (OSError, SourceChanged) as fault:
            lines = fault.lines() if isinstance(fault, SourceChanged) else reader.gone(source, fault)
            said.append(("fault", lines))
            stretches = [nothing(len(names[session]))] * count
        for message in [*said, ("rows", session, first, stretches)]:
            pickle.dump(message, out, pickle.HIGHEST_PROTOCOL)
        out.flush()


if __name__ == "__main__":
    if hasattr(os, "nice"):
        os.nice(5)  # lower priority than the page, higher than the reader
    serve(Path(sys.argv[1]), sys.argv[2], sys.stdin.buffer, sys.stdout.buffer)
