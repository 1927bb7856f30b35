"""Made-up files through the reader and through every command, each case in a process with limits.

`python -m tests.fuzz` runs as many as there is time for; RESULTS.md keeps what was run.
"""

import sys
from pathlib import Path

import case_limits
import file_readers
import made_files
import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.fuzz.__main__ import commands, line, reader  # noqa: E402


def run(kind, folder, count):
    tally = case_limits.Tally()
    look, together = kind(folder)
    case_limits.run(range(count), look, together, tally)
    print(line(tally))
    assert not tally.faults and tally.done == count
    assert tally.worst_mb[0] < case_limits.MOST_BYTES >> 20 and tally.worst_s[0] < case_limits.MOST_CPU_S
    return tally


def test_the_reader_invents_nothing_and_the_second_reader_agrees(tmp_path):
    assert not run(reader, tmp_path, 80).unreadable


def test_sequences_half_a_count_apart_are_ordered_alike(tmp_path):
    """The number of a file on which the two readers once differed."""
    file = made_files.made(2_016_121)
    assert file_readers.look(file.put(tmp_path), file, 2_016_121)


def test_every_command_answers_or_tells_in_three_lines(tmp_path):
    run(commands, tmp_path, 1)


@pytest.mark.slow
def test_many_files_through_the_reader(tmp_path):
    tally = run(reader, tmp_path, 20_000)
    assert tally.unreadable < 0.001 * tally.done


@pytest.mark.slow
def test_many_files_through_every_command(tmp_path):
    run(commands, tmp_path, 300)


def test_the_same_number_makes_the_same_file():
    for case in range(50):
        first, again = made_files.made(case, drives=True), made_files.made(case, drives=True)
        assert first.files == again.files and first.notes == again.notes


def test_what_ends_a_case_is_told(tmp_path):
    """A fault, a hang and a file that eats memory are found, and the cases after them still run."""

    def look(case, board):
        if case == 1:
            raise ValueError("one")
        if case == 2:
            board.ends()
            case_limits.signal.setitimer(case_limits.signal.ITIMER_PROF, 0.2)
            while True:
                pass
        if case == 3:
            return bool(bytearray(1 << 45))
        return case != 5

    tally = case_limits.Tally()
    case_limits.run(range(7), look, 10, tally)
    assert [case for case, _, _ in tally.faults] == [1, 2, 3] and tally.unreadable == 1
    assert "ValueError: one" in tally.faults[0][2] and "signal" in tally.faults[1][2]
    assert "MemoryError" in tally.faults[2][2] or "OverflowError" in tally.faults[2][2]
