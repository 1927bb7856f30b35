"""Work on two cores, results in order. Checksums, file reads and numpy's loops leave Python's lock free."""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from typing import TypeVar

CORES = 2
AHEAD = 3  # jobs begun before their result is asked for: bounds the memory

Job = TypeVar("Job")
Result = TypeVar("Result")


def two_at_a_time(work: Callable[[Job], Result], jobs: Iterable[Job], pays: bool) -> Iterator[Result]:
    """work(job) for each job, in the order of the jobs. pays: whether there is enough to do for a second thread."""
    if not pays or (os.cpu_count() or 1) < CORES or not hasattr(os, "preadv"):
        for job in jobs:
            yield work(job)
        return
    with ThreadPoolExecutor(CORES) as pool:
        begun: deque[Future[Result]] = deque()
        for job in jobs:
            begun.append(pool.submit(work, job))
            if len(begun) >= AHEAD:
                yield begun.popleft().result()
        while begun:
            yield begun.popleft().result()
