"""Reading: verified decode of large rings against memcpy and against other tables of the same rows; memory; `info`."""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import big_rings
import numpy as np

MB = 1e6
RING = 256 << 20
LARGE = 4 << 30
STREAMED = 20_000_000  # rows of the large ring taken to engineering units; memory does not grow after the first pieces
PEER_ROWS = 400_000  # rows of the peers' files: pandas would need minutes for all of them
TIMES = 3

# Peak memory and time of a process of its own
ALONE = """
import sys
import ringpull
rows = 0
(session,) = ringpull.read(sys.argv[1]).sessions
for table in session.tables():
    rows += len(table["time_s"])
    if rows > int(sys.argv[2]):
        break
peak = next(line for line in open("/proc/self/status") if line.startswith("VmHWM"))  # getrusage tells the parent's too
print(session.rows, rows, peak.split()[1])
"""


def best(work: Callable[[], object], times: int = TIMES) -> float:
    """Least seconds of a few runs."""
    out = []
    for _ in range(times):
        began = time.perf_counter()
        work()
        out.append(time.perf_counter() - began)
    return min(out)


def columns_of(path: Path) -> int:
    """Check every block, unpack every column; returns the rows."""
    from ringpull.ring.blocks.store import open_store
    from ringpull.ring.rows import sessions

    return sum(len(row) for one in sessions.find(open_store(path)).sessions for row, _ in one.pieces())


def _copy_s() -> float:
    source, copy = np.ones(RING, np.uint8), np.empty(RING, np.uint8)
    return best(lambda: np.copyto(copy, source), 5)


def rows():
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        copy_s = _copy_s()
        yield "memcpy", RING / copy_s / MB, "MB/s", "warm numpy.copyto of 256 MB"
        for kind in ("plain", "packed"):
            path = place / f"{kind}.rpl"
            count, wide = big_rings.write(path, RING, kind == "plain")
            took_s = best(lambda path=path: columns_of(path))
            out = count * wide * 2 / took_s / MB
            yield (
                f"{kind} ring to columns",
                RING / took_s / MB,
                "MB/s of file",
                f"{count} rows, {wide} columns, all checked",
            )
            if kind == "plain":
                share = 100 * copy_s / took_s
                yield f"{kind} ring to columns", share, "% of memcpy", "to reach: 10 %, or 2000 MB/s of file"
            yield f"{kind} ring to columns", out, "MB/s int16", "to reach: 300" if kind == "packed" else ""
        yield _without_numba(place / "packed.rpl", out)
        yield from _decoded(place / "packed.rpl", place)
        yield from _peers(place, out)
        yield from _info(place)
        yield from _memory(place)


def _without_numba(path: Path, fast: float):
    from unittest.mock import patch

    from ringpull.ring.rows import unpack

    if not unpack.fast_pays(RING // 512):
        return "numba", float("nan"), "", "left out: not installed"
    with patch.object(unpack, "FAST_FROM", 1 << 60):
        count_s = best(lambda: columns_of(path))
    with patch.object(unpack, "FAST_FROM", 0):
        fast_s = best(lambda: columns_of(path))
    return (
        "packed ring to columns without numba",
        fast * fast_s / count_s,
        "MB/s int16",
        "what small drives get; to reach: 300",
    )


def _decoded(path: Path, place: Path):
    """Million rows a second of CPU to engineering units and to Parquet, beside pyarrow writing the same tables."""
    import pyarrow.parquet as pq

    import ringpull
    from ringpull.export import arrow, parquet

    (session,) = ringpull.read(path).sessions
    rows = session.rows / 1e6

    def cpu_s(work: Callable[[], object]) -> float:
        began = time.process_time()
        work()
        return time.process_time() - began

    decoded_s = min(cpu_s(lambda: sum(len(table["time_s"]) for table in session.tables())) for _ in range(TIMES))
    yield "packed ring to tables", rows / decoded_s, "Mrows/s of CPU", f"{session.rows} rows, of 21 columns as stored"
    drive = ringpull.read(path)
    written_s = cpu_s(lambda: parquet.write(drive, drive.sessions, place / "out.parquet", lambda share: None))
    made = list(arrow.pieces(drive.sessions, lambda share: None))

    def write_again() -> None:
        with pq.ParquetWriter(place / "again.parquet", made[0].schema, compression="zstd") as writer:
            for table in made:
                writer.write_table(table)

    again_s = cpu_s(write_again)
    yield "packed ring to Parquet", rows / written_s, "Mrows/s of CPU", "to reach: 4"
    yield "pyarrow alone, the same tables to Parquet", rows / again_s, "Mrows/s of CPU", "what no decoder can beat"


def _peers(place: Path, packed: float):
    """MB/s of int16 for the same raw rows in other files, and how many times faster the packed ring is."""
    import pandas as pd
    import pyarrow as pa
    import pyarrow.csv
    import pyarrow.parquet as pq

    columns, table = big_rings.template()
    names = [column["n"] for column in columns]
    frame = pd.DataFrame(np.resize(table, (PEER_ROWS, len(names))), columns=names)
    size = frame.size * 2 / MB
    arrow = pa.Table.from_pandas(frame.astype("int32"), preserve_index=False)
    pa.csv.write_csv(arrow, place / "rows.csv")
    pq.write_table(arrow, place / "rows.parquet", compression="zstd")
    work: dict[str, Callable[[], object]] = {
        "pyarrow CSV": lambda: pa.csv.read_csv(place / "rows.csv"),
        "pandas CSV": lambda: pd.read_csv(place / "rows.csv"),
        "Parquet": lambda: pq.read_table(place / "rows.parquet"),
    }
    try:
        from asammdf import MDF, Signal

        time_s = np.arange(PEER_ROWS) / big_rings.RATE_HZ
        with MDF(version="4.10") as mdf:
            mdf.append([Signal(frame[name].to_numpy(np.int32), time_s, name=name) for name in names])
            mdf.save(place / "rows.mf4", overwrite=True)
        work["MDF4"] = lambda: MDF(place / "rows.mf4").to_dataframe()
    except ImportError:
        yield "MDF4", float("nan"), "MB/s int16", "left out: asammdf is not installed"
    for name, read in work.items():
        rate = size / best(read, 1 if name == "pandas CSV" else TIMES)
        need = "; to reach: 3" if name == "pyarrow CSV" else ""
        yield name, rate, "MB/s int16", f"the packed ring is {packed / rate:.2f} times as fast{need}"


def _info(place: Path):
    path = place / "large.rpl"
    big_rings.write(path, 1 << 30)
    words = [sys.executable, "-m", "ringpull", "info", str(path)]
    took_s = best(lambda: subprocess.run(words, check=True, stdout=subprocess.DEVNULL))
    yield "info of 1 GB", took_s, "s", "process and all; to reach: 1"
    path.unlink()
    for what, zeros in (("never written", b""), ("of written zeros", bytes(1 << 24))):
        with path.open("wb") as file:
            for _ in range(LARGE // len(zeros) if zeros else 0):
                file.write(zeros)
            file.truncate(LARGE)
        took_s = best(lambda: subprocess.run(words, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL))
        yield f"info of an empty ring of 4 GB, {what}", took_s, "s", "process and all; to reach: 4"
        path.unlink()


def _memory(place: Path):
    if not Path("/proc/self/status").exists():
        yield "4 GB to engineering units, peak", float("nan"), "MB", "left out: this system has no /proc"
        return
    path = place / "large.rpl"
    count, _ = big_rings.write(path, LARGE)
    began = time.perf_counter()
    words = [sys.executable, "-c", ALONE, str(path), str(STREAMED)]
    done = subprocess.run(words, check=True, capture_output=True, text=True)
    took_s = time.perf_counter() - began
    indexed, read, peak = map(int, done.stdout.split())
    if indexed != count or read < STREAMED:
        raise RuntimeError(f"{indexed} rows indexed and {read} read of {count}")
    yield (
        "4 GB to engineering units, peak",
        peak * 1024 / MB,
        "MB",
        f"{count} rows checked, {read} decoded, {took_s:.0f} s; to reach: 400",
    )
