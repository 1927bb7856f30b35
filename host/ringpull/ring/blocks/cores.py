"""Work on two cores with results in order. Checksums, file reads and numpy's loops release Python's lock."""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from typing import TypeVar

CORES = 2
AHEAD = 3  # jobs begun before their results are needed, which limits the memory

Job = TypeVar("Job")
Result = TypeVar("Result")


def two_at_a_time(work: Callable[[Job], Result], jobs: Iterable[Job], pays: bool) -> Iterator[Result]:
    """work(job) for each job, in order. pays: whether there is enough work for a second thread."""
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
