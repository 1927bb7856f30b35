"""A ring file that is mostly empty: what was never written costs no reading, and is told from what was."""

import os

import numpy as np
import pytest
from ring_bytes import Ring

import ringpull
from ringpull.errors import NotARingFile, SourceChanged
from ringpull.ring.blocks import scan
from ringpull.ring.blocks.source import ring_files

MB = 1 << 20


def blocks():
    ring = Ring()
    ring.setup()
    ring.numbered(0, 300)
    return ring.data()


@pytest.fixture
def counted(monkeypatch):
    """Bytes that were asked for."""
    read = []
    whole = scan.read_fully

    def look(stream, view, at):
        read.append(len(view))
        whole(stream, view, at)

    monkeypatch.setattr(scan, "read_fully", look)
    return read


def has_holes(path):
    with open(path, "rb") as file:
        try:
            return os.lseek(file.fileno(), 0, os.SEEK_HOLE) < os.fstat(file.fileno()).st_size
        except (AttributeError, OSError):
            return False


def test_a_file_of_4_gb_that_was_never_written_is_not_read(tmp_path, counted):
    path = tmp_path / "drive.rpl"
    with path.open("wb") as file:
        file.truncate(4 << 30)
    if not has_holes(path):
        pytest.skip("this file system keeps no holes")
    with pytest.raises(NotARingFile, match="no slot was ever written"):
        ringpull.read(path)
    assert not counted


def test_a_young_ring_in_a_large_file_costs_its_own_size(tmp_path, counted):
    path = tmp_path / "drive.rpl"
    with path.open("wb") as file:
        file.write(blocks())
        file.truncate(1 << 30)
    if not has_holes(path):
        pytest.skip("this file system keeps no holes")
    assert ringpull.read(path).sessions[0].rows == 300
    assert sum(counted) < 20 * MB


@pytest.mark.parametrize("place", [0, 5 * MB, 9 * MB])
def test_zeros_holes_and_blocks_are_told_apart(tmp_path, place):
    """Zeros that were written, holes, and blocks in between: the same states as slot by slot."""
    path = tmp_path / "drive.rpl"
    with path.open("wb") as file:
        file.write(bytes(4 * MB))
        file.truncate(16 * MB)
        file.seek(place)
        file.write(blocks())
        file.seek(12 * MB + 100)
        file.write(b"x")
    (file,) = ring_files(path)
    slots = scan.index_file(file).slots
    data = np.frombuffer(path.read_bytes(), np.uint8).reshape(-1, 512)
    empty = ~data.any(axis=1)
    assert ((slots["state"] == scan.EMPTY) == empty).all()
    assert (slots["state"][12 * MB // 512] == scan.NO_BLOCK) and (slots["state"] == scan.GOOD).sum() == len(
        blocks()
    ) // 512
    assert ringpull.read(path).sessions[0].rows == 300


def test_a_file_that_became_shorter_is_not_taken_for_empty(tmp_path):
    path = tmp_path / "drive.rpl"
    with path.open("wb") as file:
        file.truncate(8 * MB)
    (file,) = ring_files(path)
    with path.open("wb") as shorter:
        shorter.truncate(2 * MB)
    with pytest.raises(SourceChanged):
        scan.index_file(file)
