"""The reader against a coverage-guided fuzzer, and against a million spoiled blocks."""

import importlib.util
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from ring_bytes import Ring

import ringpull
from shared_math import layout

HERE = Path(__file__).resolve().parent
SECONDS = 120
MILLION = 1_000_000
ROWS = 40_000


@pytest.mark.slow
@pytest.mark.skipif(importlib.util.find_spec("atheris") is None, reason="atheris is not installed")
def test_fuzzer_finds_no_difference_between_the_readers(tmp_path):
    corpus = tmp_path / "corpus"
    corpus.mkdir()
    words = [sys.executable, HERE / "reader_target.py", corpus, f"-max_total_time={SECONDS}", "-max_len=100"]
    words += ["-len_control=0", f"-artifact_prefix={tmp_path}/"]
    done = subprocess.run([*map(str, words)], capture_output=True, text=True, timeout=SECONDS + 120, check=False)
    found = list(tmp_path.glob("crash-*")) + list(tmp_path.glob("timeout-*")) + list(tmp_path.glob("oom-*"))
    told = done.stdout[-2000:] + done.stderr[-2000:]
    assert done.returncode == 0 and not found, f"{[one.read_bytes().hex() for one in found]}\n{told}"
    print([line for line in done.stderr.splitlines() if line.startswith("Done")])


def spoiled(blocks: np.ndarray, random: np.random.Generator) -> np.ndarray:
    """A copy of (n, 512) blocks, each hurt in one of the ways in which storage does."""
    out = blocks.copy()
    count = len(out)
    at = np.arange(count)
    ways = random.integers(0, 6, count)
    place = random.integers(0, 512, count)
    flip = 1 << random.integers(0, 8, count)
    out[at, place] ^= np.where(ways == 0, flip, 0).astype(np.uint8)
    for way, length in ((1, 4), (2, 32)):  # a burst of wrong bytes
        for n in np.flatnonzero(ways == way):
            low = int(random.integers(0, 512 - length))
            out[n, low : low + length] = random.integers(0, 256, length)
    for n in np.flatnonzero(ways == 3):  # torn: the rest is another block's
        cut = int(random.integers(12, 512))  # its number stays: cut before it, the other block would stand here whole
        out[n, cut:] = blocks[int(random.integers(0, count)), cut:]
    out[ways == 4] = np.where(random.random((int((ways == 4).sum()), 1)) < 0.5, 0, 255)
    for n in np.flatnonzero(ways == 5):  # bytes shifted by one
        out[n] = np.roll(out[n], 1)
    return out


def rounds(tmp_path, total: int) -> tuple[int, int]:
    """Spoil blocks until `total` are; (blocks spoiled, rows read). Every intact block's rows come back, no other."""
    ring = Ring()
    ring.setup()
    setup = len(ring.blocks)
    ring.numbered(0, ROWS)
    truth = np.array([ring.row(n) for n in range(ROWS)])
    blocks = np.frombuffer(ring.data(), np.uint8).reshape(-1, layout.SLOT)
    heads = blocks.view("<u2")
    first = heads[:, layout.AT_FIRST_ROW // 2].astype(int) | heads[:, layout.AT_FIRST_ROW // 2 + 1].astype(int) << 16
    rows = heads[:, layout.AT_ROWS // 2] & layout.ROWS_MASK
    random = np.random.default_rng(11)
    done = read = 0
    path = tmp_path / "drive.rpl"
    while done < total:
        hurt = random.random(len(blocks)) < 0.8
        hurt[:setup] = False
        data = blocks.copy()
        data[hurt] = spoiled(blocks[hurt], random)
        intact = (data == blocks).all(axis=1)  # a burst may happen to change nothing
        path.write_bytes(data.tobytes())
        (session,) = ringpull.read(path).sessions
        raw = session.raw()
        numbers = np.concatenate([np.arange(first[n], first[n] + rows[n]) for n in np.flatnonzero(intact)[setup:]])
        np.testing.assert_array_equal(raw["row"], numbers)
        np.testing.assert_array_equal(raw.drop(columns="row"), truth[numbers])
        done += int((~intact).sum())
        read += len(raw)
    return done, read


def test_spoiled_blocks_give_no_row(tmp_path):
    done, read = rounds(tmp_path, 5_000)
    print(f"{done} blocks spoiled, {read} rows of the intact ones read")


@pytest.mark.slow
def test_a_million_spoiled_blocks_give_no_row(tmp_path):
    done, read = rounds(tmp_path, MILLION)
    print(f"{done} blocks spoiled, {read} rows of the intact ones read")
    assert done >= MILLION
