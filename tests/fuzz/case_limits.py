"""Cases run in processes of their own, with a limit of memory and time for each; what ends one is told by number."""

from __future__ import annotations

import mmap
import os
import resource
import signal
import struct
import sys
import traceback
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

MOST_CPU_S = 20.0
MOST_BYTES = 2 << 30
LAST_WORDS = 4000


@dataclass
class Tally:
    """done: cases that ended. unreadable: of those. worst_s, worst_mb: processor time of a step, memory of a process,
    with the case. faults: case, step, what happened."""

    done: int = 0
    unreadable: int = 0
    worst_s: tuple[float, int, str] = (0.0, -1, "")
    worst_mb: tuple[float, int] = (0.0, -1)
    faults: list[tuple[int, str, str]] = field(default_factory=list)


class Board:
    """What a child tells its parent through shared memory: case, cases done, unreadable, worst step, last words."""

    HEAD = struct.Struct("<qqqdq64s64s")

    def __init__(self) -> None:
        self.room = mmap.mmap(-1, self.HEAD.size + 4 + LAST_WORDS)
        self.case, self.done, self.unreadable, self.worst_s, self.worst_case = -1, 0, 0, 0.0, -1
        self.step = self.worst_step = ""
        self.began_s = 0.0

    def begins(self, step: str) -> None:
        """The next step: its processor time counts from now on."""
        self.ends()
        self.step, self.began_s = step, _cpu_s()
        signal.setitimer(signal.ITIMER_PROF, MOST_CPU_S)  # ends the process, whatever it is in
        self.write()

    def ends(self) -> None:
        """The step is over."""
        signal.setitimer(signal.ITIMER_PROF, 0)
        took_s = _cpu_s() - self.began_s
        if self.step and took_s > self.worst_s:
            self.worst_s, self.worst_case, self.worst_step = took_s, self.case, self.step

    def write(self, words: str = "") -> None:
        steps = [one.encode()[:64] for one in (self.step, self.worst_step)]
        told = words.encode("utf-8", "replace")[-LAST_WORDS:]
        self.room[: self.HEAD.size] = self.HEAD.pack(
            self.case, self.done, self.unreadable, self.worst_s, self.worst_case, *steps
        )
        self.room[self.HEAD.size :] = struct.pack("<I", len(told)) + told.ljust(LAST_WORDS, b"\0")

    def read(self) -> tuple[int, int, int, float, int, str, str, str]:
        case, done, unreadable, worst_s, worst_case, step, worst = self.HEAD.unpack(self.room[: self.HEAD.size])
        (size,) = struct.unpack_from("<I", self.room, self.HEAD.size)
        words = self.room[self.HEAD.size + 4 : self.HEAD.size + 4 + size].decode("utf-8", "replace")
        return case, done, unreadable, worst_s, worst_case, *(b.rstrip(b"\0").decode() for b in (step, worst)), words


def _cpu_s() -> float:
    used = resource.getrusage(resource.RUSAGE_SELF)
    return used.ru_utime + used.ru_stime


def run(cases: Iterable[int], look: Callable[[int, Board], bool], together: int, tally: Tally) -> None:
    """look(case, board) -> whether the file could be read, of all cases, `together` in a process. Adds to the tally."""
    waiting = list(cases)
    while waiting:
        batch, waiting = waiting[:together], waiting[together:]
        while batch:
            batch = _batch(batch, look, tally)


def _batch(batch: list[int], look: Callable[[int, Board], bool], tally: Tally) -> list[int]:
    """Run cases in a child; returns those that are left after one that ended it."""
    board = Board()
    child = os.fork()
    if not child:
        _child(batch, look, board)
    _, status, used = os.wait4(child, 0)
    case, done, unreadable, worst_s, worst_case, step, worst_step, words = board.read()
    tally.done += done
    tally.unreadable += unreadable
    tally.worst_s = max(tally.worst_s, (worst_s, worst_case, worst_step))
    tally.worst_mb = max(tally.worst_mb, (used.ru_maxrss / 1024, case))
    if used.ru_maxrss * 1024 > MOST_BYTES:
        tally.faults.append((case, step, f"{used.ru_maxrss >> 10} MB"))
    if status:
        how = f"signal {os.WTERMSIG(status)}" if os.WIFSIGNALED(status) else "a fault"
        tally.faults.append((case, step, f"{how}\n{words}"))
        return batch[batch.index(case) + 1 :] if case in batch else []
    return []


def _child(batch: list[int], look: Callable[[int, Board], bool], board: Board) -> None:
    signal.signal(signal.SIGPROF, signal.SIG_DFL)
    resource.setrlimit(
        resource.RLIMIT_DATA, (2 * MOST_BYTES, 2 * MOST_BYTES)
    )  # so that a fault takes no machine with it
    try:
        for case in batch:
            board.case = case
            board.begins("read")
            board.unreadable += not look(case, board)
            board.ends()
            board.done += 1
        board.step = ""
        board.write()
    except BaseException:
        board.write(traceback.format_exc())
        sys.stderr.flush()
        os._exit(1)
    os._exit(0)
