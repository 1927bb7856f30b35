"""Edges stamped by the PIO programs and walked by the firmware, from 60 to 20,000 rpm, against their exact times."""

from __future__ import annotations

import os
import subprocess
from pathlib import Path

import numpy as np
import pytest
from assembler import load
from stamps import run

from ringpull.dryrun.run import HEAP, find_micropython
from ringpull.files.firmware_sources import firmware_dir, shared_math_dir

HERE = Path(__file__).parent
MHZ = 125
PERIOD_US = 5000
AGE_MAX = (1 << 20) - 1
DRIVER = load(firmware_dir() / "drivers" / "pio_edges.py")
PROGRAMS = {name: DRIVER[name] for name in ("rising", "falling")}
EDGE_CYCLES = DRIVER["EDGE_CYCLES"]

# (rpm, pulses per revolution): 0.5 to 450 Hz
SPEEDS = [
    (60, 0.5),
    (60, 60),
    (800, 2),
    (3000, 0.5),
    (6543, 1),
    (9000, 3),
    (15000, 0.5),
]
FALLING = [(60, 0.5), (800, 2), (9000, 3)]  # of these in every run: the slowest, a usual one, the fastest
# 3 to 15 kHz, and what the board is offered for: up to minutes in the emulator for whole cycles over half a second
LONG = [
    pytest.param(*case, marks=pytest.mark.slow)
    for case in ((15000, 12, "rising"), (15000, 12, "falling"), (15000, 60, "rising"), (20000, 60, "rising"))
]


def test_words_are_those_of_micropythons_own_assembler():
    """Printed by MicroPython 1.28 on an emulated RP2040: the words, then its EXECCTRL with the loop's two ends."""
    for name, words, control in (
        ("rising", [65, 192, 196, 66, 41161, 32768, 0], 12544),
        ("falling", [194, 64, 67, 194, 41161, 32768, 0], 4096),
    ):
        program = PROGRAMS[name]
        assert program.words == words
        assert program.wrap << 12 | program.wrap_target << 7 == control


def square(edges: np.ndarray, high: float, first: int) -> list[tuple[int, int]]:
    """Changes of a line whose active edges (to level `first`) lie at `edges` (cycles); it stays so for `high` of a
    period."""
    gaps = np.diff(edges, append=2 * edges[-1] - edges[-2])
    back = edges + np.maximum(2, (gaps * high).astype(np.int64))
    changes = [(int(at), first) for at in edges] + [(int(at), 1 - first) for at in back]
    return sorted(changes)


def decode(words: list[int], seen: np.ndarray, rows: int, limit_us: int, start: int, first_grid: int) -> np.ndarray:
    """(rows, 3) count, age_us, rejected as the firmware makes them. seen: cycle at which each word is in the ring."""
    grid_cycles = ((first_grid - start) % (1 << 30) + np.arange(rows) * PERIOD_US) * MHZ
    lines = [f"{limit_us} {MHZ} {start} {first_grid} {PERIOD_US} {rows}"]
    given = 0
    for cycle in grid_cycles:
        there = int(np.searchsorted(seen, cycle + 40 * MHZ))  # the row is taken a little late, and edges came meanwhile
        lines.append(" ".join(map(str, words[given:there])))
        given = there
    places = [firmware_dir(), shared_math_dir().parent]
    environment = dict(os.environ, MICROPYPATH=":".join(map(str, places)) + ":.frozen")
    command = [find_micropython(), "-X", f"heapsize={HEAP}", str(HERE / "rows_of_stamps.py")]
    done = subprocess.run(command, input="\n".join(lines) + "\n", env=environment, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    return np.array([line.split() for line in done.stdout.splitlines()], int)


@pytest.mark.parametrize(
    ("rpm", "per_rev", "polarity"),
    [(*speed, "rising") for speed in SPEEDS]
    + [pytest.param(*speed, "falling", marks=() if speed in FALLING else pytest.mark.slow) for speed in SPEEDS]
    + LONG,
)
def test_counts_ages_and_speed(rpm, per_rev, polarity):
    # Whole engine cycles over 0.5 s or more; two ages in whole microseconds could be off by 4e-6
    at_us, count = counts_and_ages(rpm * per_rev / 60, polarity, 0.6 if rpm > 9000 else 0.7 if rpm > 500 else 4.7)
    cycle = max(1, round(2 * per_rev))
    spans = [(count[b] - count[a], at_us[b] - at_us[a]) for a in (0, 3) for b in range(len(count))]
    spans = [(edges, us) for edges, us in spans if us >= 500_000 and edges % cycle == 0]
    assert spans
    for edges, us in spans:
        assert abs(60e6 * edges / per_rev / us / rpm - 1) < 1e-5


@pytest.mark.parametrize(
    ("hz", "polarity", "seconds"),
    [
        (3_000, "rising", 0.04),
        (15_000, "falling", 0.02),
        (20_000, "rising", 0.02),
        pytest.param(15_000, "falling", 0.04, marks=pytest.mark.slow),
        pytest.param(20_000, "rising", 0.04, marks=pytest.mark.slow),
        pytest.param(15_000, "rising", 0.06, marks=pytest.mark.slow),
        pytest.param(20_000, "rising", 0.06, marks=pytest.mark.slow),
    ],
)
def test_counts_and_ages_at_the_highest_rates(hz, polarity, seconds):
    counts_and_ages(hz, polarity, seconds)


def counts_and_ages(hz: float, polarity: str, seconds: float) -> tuple[np.ndarray, np.ndarray]:
    """(time of the last edge in us, count) of the rows that know one, after each row was compared with the true
    edges."""
    start = (1 << 30) - int(seconds * 0.5e6)  # the tick counter wraps on the way
    edges = np.arange(int(seconds * hz) + 1) * (MHZ * 1e6 / hz) + 0.011 * MHZ * 1e6
    cycles = np.ceil(edges).astype(np.int64)  # a change is seen from the next cycle on
    active = 1 if polarity == "rising" else 0
    end = int(seconds * MHZ * 1e6) + 100 * MHZ
    changes = [change for change in square(cycles, 0.3, active) if change[0] < end]
    words = run(PROGRAMS[polarity], changes, end, 1 - active)

    told = 2 * np.array(words, np.int64) + EDGE_CYCLES * np.arange(len(words))
    wanted = cycles[: len(words)]
    assert len(words) == np.sum(cycles < end - 8)
    assert np.all((told - wanted >= 0) & (told - wanted < 2))  # two cycles of resolution, nothing adds up

    first_grid = (start + 7000) % (1 << 30)
    rows = int(seconds * 1e6 - 7000) // PERIOD_US
    got = decode(words, told, rows, int(0.5e6 / hz), start, first_grid)
    grid_us = 7000 + np.arange(rows) * PERIOD_US
    last = np.searchsorted(edges / MHZ, grid_us, side="right")
    assert np.all(got[:, 0] == last)
    ages = grid_us - np.concatenate([[-1e9], edges / MHZ])[last]
    assert np.all(np.abs(got[:, 1] - np.minimum(ages, AGE_MAX)) <= 1.02)
    assert not got[:, 2].any()

    known = got[:, 1] < AGE_MAX
    return (grid_us - got[:, 1])[known], got[known, 0]


@pytest.mark.parametrize("polarity", ["rising", "falling"])
@pytest.mark.parametrize("idle", [0, 1])
def test_a_line_that_stands_gives_no_edge(polarity, idle):
    assert run(PROGRAMS[polarity], [], 5000, idle) == []


@pytest.mark.parametrize("polarity", ["rising", "falling"])
def test_edges_of_forty_nanoseconds_are_seen(polarity):
    """The shortest pulse that is sure to be seen lasts two cycles of low and two of high plus the four of an edge."""
    active = 1 if polarity == "rising" else 0
    at = 101 + 8 * np.arange(50)
    changes = sorted([(int(c), active) for c in at] + [(int(c) + 3, 1 - active) for c in at])
    assert len(run(PROGRAMS[polarity], changes, 2000, 1 - active)) == 50


@pytest.mark.parametrize("sparks", [120, pytest.param(300, marks=pytest.mark.slow)])
def test_ringing_of_a_coil_is_refused_and_counted(sparks):
    """Up to five edges 20 to 300 us after the true one, where the shortest period exceeds twice the ringing."""
    random = np.random.default_rng(4)
    true_us = 2000 + np.arange(sparks) * 1700.0
    ringing = [at + np.sort(random.uniform(20, 300, random.integers(0, 6))) for at in true_us]
    ringing = [one[np.diff(one, prepend=-1) > 1] for one in ringing]
    every = np.sort(np.concatenate([true_us, *ringing]))
    cycles = (every * MHZ).astype(np.int64)
    end = int(cycles[-1]) + 12_000 * MHZ
    changes = sorted([(int(c), 1) for c in cycles] + [(int(c) + 40, 0) for c in cycles])
    words = run(PROGRAMS["rising"], changes, end, 0)
    told = 2 * np.array(words, np.int64) + EDGE_CYCLES * np.arange(len(words))
    got = decode(words, told, (end // MHZ - 7000) // PERIOD_US, 310, 0, 7000)
    assert got[-1, 0] == len(true_us) and got[-1, 2] == len(every) - len(true_us)
