"""A process that reads a drive for the page, so that requests do not wait for Python's lock.

Its output is a sequence of pickled messages: ("read", session, rows read so far, buckets as for Pyramid.put),
("judged", session, columns, row numbers, values that the analysis adds), ("spans", spans of pulls and lean events),
("verdict", the answer in a sentence), ("report", the whole page), ("fault", lines for the user).
"""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np

from ringpull.errors import RingpullError
from ringpull.view.pyramid import base_of, grouped
from ringpull.view.rows import as_stretch

MOST_JUDGED_S = 7200.0  # longer drives are shown with their marks but not judged here; the report judges them
Message = tuple


def begin(source: Path, ring: str, module: str = "ringpull.view.reader") -> subprocess.Popen:
    """Start a process that reads the ring with this id."""
    words = [sys.executable, "-m", module, str(source), ring]
    return subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL)


def messages(process: subprocess.Popen) -> Iterator[Message]:
    """The messages of the process, until it ends."""
    assert process.stdout is not None
    while True:
        try:
            yield pickle.load(process.stdout)
        except (EOFError, pickle.UnpicklingError):
            return


def read(source: Path, ring: str, say: Callable[[Message], None]) -> None:
    """Send all sessions, then the answer if the drive is not too long to judge here."""
    import ringpull
    from ringpull.report import data

    drive = ringpull.read(source, ring=ring)
    say(("spans", data.marked(drive)))
    for session in drive.sessions:
        names = [one["column"] for one in data.described(session)]
        for rows, numbers, low, high in buckets(session, names):
            say(("read", session.id, rows, numbers, low, high))
    if sum(session.duration_s for session in drive.sessions) <= MOST_JUDGED_S:
        from ringpull.analysis.answer import answer
        from ringpull.report import answer_part
        from ringpull.report.page import page

        found = answer(drive)
        judged = {p.pull.session: p.judged for p in found.pulls}
        for session in drive.sessions:
            if session.id in judged:
                say(("judged", session.id, *added(session, judged[session.id])))
        say(("spans", data.spans(found, answer_part.numbered(found))))
        say(("verdict", verdict(found)))
        say(("report", page(drive, found).encode("utf-8", "replace")))


def verdict(found) -> str:
    """The answer's first line, and the instruments that the drive contradicts if the line does not name them."""
    from ringpull.analysis.instruments.records import State

    line = f"{found.verdict}: {found.sentence}"
    against = [one.channel for one in found.instruments if one.state is State.CONTRADICTED]
    unnamed = [name for name in dict.fromkeys(against) if name not in found.sentence]
    if not unnamed:
        return line
    verb = "is" if len(unnamed) == 1 else "are"
    return f"{line.rstrip('.')}; {', '.join(unnamed)} {verb} contradicted by the drive; the whole report says why."


def added(session, judged) -> tuple[list[dict], np.ndarray, np.ndarray]:
    """(columns, row numbers, values (columns, rows)) that the analysis adds to a session's channels."""
    from ringpull.report import data

    times = session.awake.table()["time_s"]  # long standstills are not judged: nothing is shown there
    made = data.judged_columns(judged, times)
    labels = {channel.name + "_aligned": channel.label for channel in session.channels}
    values = np.stack([np.asarray(one, np.float32) for one in made.values()])
    return data.judged_described(made, labels), np.round(times / session.period_s).astype(np.int64), values


def buckets(session, names: list[str]) -> Iterator[tuple[int, np.ndarray, np.ndarray, np.ndarray]]:
    """(rows read so far, numbers, least, most) of the finest buckets of a session, each bucket once."""
    period_s = session.period_s
    size = base_of(round((session.duration_s - session.start_s) / period_s))
    done = 0
    held: tuple[np.ndarray, np.ndarray] | None = None
    for table in session.tables():
        rows, values = as_stretch(table, names, period_s)
        done += len(rows)
        if held is not None:
            rows, values = np.concatenate([held[0], rows]), np.concatenate([held[1], values], axis=1)
        whole = int(np.searchsorted(rows, rows[-1] // size * size))  # the last bucket may continue in the next piece
        held = rows[whole:], values[:, whole:]
        yield done, *grouped(rows[:whole], values[:, :whole], values[:, :whole], size)
    if held is not None:
        yield done, *grouped(held[0], held[1], held[1], size)


def gone(source: Path, fault: OSError) -> str:
    """Lines for the user when a file can't be read any more."""
    what, cause = f"{source.name} can't be read any more ({fault.strerror})", "its card was taken out"
    return RingpullError(what, cause, "put it in, and start again").lines()


def main() -> int:
    if hasattr(os, "nice"):
        os.nice(10)
    out = sys.stdout.buffer

    def say(message: Message) -> None:
        pickle.dump(message, out, pickle.HIGHEST_PROTOCOL)
        out.flush()

    try:
        read(Path(sys.argv[1]), sys.argv[2], say)
    except RingpullError as error:
        say(("fault", error.lines()))
    except BrokenPipeError:
        os._exit(0)
    except OSError as fault:
        say(("fault", gone(Path(sys.argv[1]), fault)))
    return 0


if __name__ == "__main__":
    sys.exit(main())
