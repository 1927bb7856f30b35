"""PIO, DMA and the converter of the emulated RP2040 while its flash is erased: each edge counted, at its exact time.

Runs where image.py knows of a MicroPython image of the board RPI_PICO.
"""

from __future__ import annotations

import json
import re
from pathlib import Path

import image
import numpy as np
import pytest

IMAGE = image.named()
pytestmark = pytest.mark.skipif(not IMAGE, reason=image.lacking())

HERE = Path(__file__).parent
FIRST_US = 200_000
PERIOD_US = 253
HIGH_US = 40
COUNTS = (100, 1000, 2500, 4095)


def square():
    """A line that rises every 253 us from 0.2 s on, for 40 us each."""
    at_us = FIRST_US
    while True:
        yield at_us / 1e6, 15, True
        yield (at_us + HIGH_US) / 1e6, 15, False
        at_us += PERIOD_US


@pytest.fixture(scope="module")
def said():
    """name -> everything the probe said under it."""
    import board_files
    import chip

    from ringpull.device import firmware_build

    wanted = ("drivers/", "shared_math/")
    files = {name: data for name, data in firmware_build.compiled("armv6m").items() if name.startswith(wanted)}
    files |= {"boot.py": board_files.BOOT, "main.py": (HERE / "rp2_probe.py").read_bytes()}
    board = chip.Chip(IMAGE, files, lambda channel, _now_s: COUNTS[channel], square())
    assert board.run(6.0, "END\r\n", wall_s=600), board.said.decode(errors="replace")[-500:]
    out: dict[str, list] = {}
    for line in board.said.decode().splitlines():
        if line.startswith("["):
            name, value = json.loads(line)
            out.setdefault(name, []).append(value)
    return out


@pytest.fixture(scope="module")
def rows(said):
    return np.array(said["row"])


def test_programs_are_the_words_that_the_pio_tests_run(said):
    text = (HERE.parent / "pio" / "test_pio_edges.py").read_text()
    known = [json.loads(words) for words in re.findall(r'\("(?:rising|falling)", (\[[\d, ]+\])', text)]
    loops = [int(number) for number in re.findall(r'\("(?:rising|falling)", \[[\d, ]+\], (\d+)\)', text)]
    assert known == said["words"][0] and loops == said["loops"][0]


def test_interrupts_were_blinded_and_no_edge_was_lost(rows):
    """A sector's erase takes 45 ms, for which no row can be taken; the counts go on over it."""
    at_us = rows[:, 0]
    assert np.sort(np.diff(at_us))[-2:].min() > 40_000
    for column, delay_us in ((1, 0), (4, HIGH_US)):
        since_us = at_us - FIRST_US - delay_us
        true = np.maximum(since_us // PERIOD_US + 1, 0)
        clear = (since_us + 2) % PERIOD_US > 4  # a row at the very microsecond of an edge may see it or not
        assert np.all(np.abs(rows[:, column] - true) <= ~clear) and clear.sum() > 100


def test_ages_are_exact_to_a_microsecond(rows):
    at_us = rows[:, 0]
    seen = rows[:, 1] > 0
    age_us = (at_us - FIRST_US) % PERIOD_US
    off = (rows[seen, 2] - age_us[seen] + 100) % PERIOD_US - 100
    assert np.abs(off).max() <= 1
    assert not rows[:, 3].any() and not rows[:, 6].any()


def test_means_stay_on_their_inputs_while_the_counter_runs_out_again_and_again(rows):
    expected = [2 * counts + 1 for counts in COUNTS[:3]] + [8191]  # of 13 bits; the top of the range stays the top
    assert np.all(rows[5:, 7:11] == expected)


def test_row_path_allocates_nothing(said):
    used, counting = said["allocated"][0]
    assert used == counting == 0


def test_cost_of_a_row(said):
    """Four inputs averaged and one tach walked; the clock's own reading is in both."""
    means_us, walk_us, clock_us = said["cost_us"][0]
    print(f"means {means_us} us, tach {walk_us} us, of which the clock {clock_us} us")
    assert means_us < 100 and walk_us < 100
