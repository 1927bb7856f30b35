"""Many cards kept, or drives judged again: here in this process, in several, or by the workers of a Dask cluster.

Whoever works writes the files of its drives itself; what comes back is a line about each.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from typing import Any

from ringpull.errors import MissingPart, RingpullError


@dataclass(frozen=True)
class Failed:
    """An error as it comes back from another process. exit_code: of the command."""

    what: str
    cause: str
    step: str
    exit_code: int


@dataclass(frozen=True)
class Done:
    """item: a card or a drive. outcomes: keep.Outcome of each of its sessions; failed: why there are none."""

    item: str
    outcomes: tuple[Any, ...] = ()
    failed: Failed | None = None


def keep_one(root: Path, told, ring: str | None, source: Path) -> Done:
    """One card kept."""
    from ringpull.shelf.keep import keep

    return guarded(root, str(source), lambda: tuple(keep(root, source, told, ring)))


def rejudge_one(root: Path, calibration: Path | None, row: dict) -> Done:
    """One drive judged again."""
    from ringpull.shelf.rejudge import rejudge

    return guarded(root, row["drive"], lambda: (rejudge(root, row, calibration),))


def guarded(root: Path, item: str, work: Callable[[], tuple]) -> Done:
    """What came of the work, errors of one item told with it: the others go on."""
    try:
        return Done(item, work())
    except RingpullError as error:
        return Done(item, failed=Failed(error.what, error.cause, error.step, error.exit_code))
    except OSError as error:
        if root in Path(str(error.filename)).parents or Path(str(error.filename)) == root:
            what = f"the shelf {root} can't be used: {error.strerror} ({error.filename})"
            return Done(item, failed=Failed(what, "its disk is failing, or a file was taken from it", "look there", 2))
        return Done(item, failed=Failed(f"{item} can't be used: {error.strerror}", "a wrong path", "check the path", 2))


def keep_all(root: Path, sources: Sequence[Path], told, ring: str | None = None, jobs: int = 1, cluster: str = ""):
    """Iterator of Done, in the order of the cards. cluster: address of a Dask scheduler whose workers see the same
    paths."""
    return spread(partial(keep_one, root, told, ring), sources, jobs, cluster)


def rejudge_all(root: Path, rows: Sequence[dict], calibration: Path | None = None, jobs: int = 1, cluster: str = ""):
    """Iterator of Done, in the order of the drives."""
    return spread(partial(rejudge_one, root, calibration), rows, jobs, cluster)


def spread(work: Callable[[Any], Done], items: Sequence[Any], jobs: int, cluster: str) -> Iterator[Done]:
    """The work done on every item."""
    if cluster:
        yield from on_cluster(work, items, cluster)
    elif jobs < 2 or len(items) < 2:
        yield from map(work, items)
    else:
        with ProcessPoolExecutor(min(jobs, len(items)), mp_context=get_context("spawn")) as pool:
            yield from pool.map(work, items)


def on_cluster(work: Callable[[Any], Done], items: Sequence[Any], address: str) -> Iterator[Done]:
    """The work done by the workers of a running Dask cluster."""
    try:
        from distributed import Client  # pyright: ignore[reportMissingImports]
    except ImportError:
        raise MissingPart(
            "Dask is not installed, which hands work to a cluster",
            "it is an extra of its own",
            "pip install '.[cluster]'",
        ) from None
    try:
        client = Client(address, timeout="10s")
    except (OSError, ValueError, TimeoutError) as fault:
        raise RingpullError(
            f"no Dask scheduler answers at {address}",
            f"it is not running, or this machine can't reach it ({type(fault).__name__})",
            "give the address that `dask scheduler` prints, as tcp://HOST:8786",
        ) from None
    with client:
        for future in client.map(work, items, pure=False):
            yield future.result()
