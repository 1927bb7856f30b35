"""The reader's blocks: states of slots, order, duplicates and glances, on files of a few blocks."""

import importlib.util
import os
import sys
import threading
import zlib
from pathlib import Path

import numpy as np
import pytest
from ring_bytes import Ring, resealed

from ringpull.errors import BadUsage, NotARingFile, SourceChanged
from ringpull.ring.blocks import crc, order, scan, source, store
from ringpull.ring.blocks.cores import two_at_a_time
from ringpull.ring.blocks.order import Run
from ringpull.ring.blocks.source import RingFile
from ringpull.ring.rows import glance, unpack
from shared_math import layout


def drive(rows=400, sequence=0):
    ring = Ring(sequence=sequence)
    ring.setup()
    ring.numbered(0, rows)
    return ring


def put(folder, name, blocks):
    path = folder / name
    path.write_bytes(b"".join(blocks))
    return path


def states(tmp_path, blocks):
    path = put(tmp_path, "drive.rpl", blocks)
    return scan.index_file(RingFile(path, path.name, path.stat().st_size), None).slots["state"].tolist()


def test_the_state_of_each_slot(tmp_path):
    """Blank slots among others, and one that is blank at its beginning alone."""
    sound = drive().blocks[-1]
    hurt = bytearray(sound)
    hurt[100] ^= 1
    half = bytes(256) + b"\1" * 256
    odd = resealed(sound, **{f"at_{layout.AT_VERSION}": 0})
    newer = resealed(sound, **{f"at_{layout.AT_VERSION}": layout.VERSION + 1})
    unknown = resealed(sound, **{f"at_{layout.AT_KIND}": layout.BIRTH + 1})
    told = states(tmp_path, [sound, bytes(512), half, bytes(hurt), odd, newer, unknown])
    expected = [scan.GOOD, scan.EMPTY, scan.NO_BLOCK, scan.DAMAGED, scan.NO_BLOCK, scan.NEWER, scan.UNKNOWN]
    assert told == expected
    # where every checksum is right, nothing is looked at but the headers
    assert states(tmp_path, [sound, odd, newer]) == [scan.GOOD, scan.NO_BLOCK, scan.NEWER]


@pytest.mark.parametrize("without_preadv", [False, True])
def test_a_file_is_read_to_its_end_or_told(tmp_path, monkeypatch, without_preadv):
    """As on Windows, where a read may give less than it was asked for."""
    if without_preadv:
        real = os.read
        asked = []
        monkeypatch.delattr(os, "preadv", raising=False)
        monkeypatch.setattr(os, "read", lambda stream, count: asked.append(count) or real(stream, min(count, 100)))
    data = bytes(range(256)) * 4
    with open(put(tmp_path, "some", [data]), "rb", buffering=0) as stream:
        view = memoryview(bytearray(1000))
        scan.read_fully(stream.fileno(), view, 24)
        assert bytes(view) == data[24:]
        if without_preadv:
            assert asked == list(range(1000, 0, -100))
        with pytest.raises(SourceChanged):
            scan.read_fully(stream.fileno(), view, 25)


def test_an_empty_file_is_told_and_one_of_a_byte_is_a_file(tmp_path):
    with pytest.raises(NotARingFile, match="is empty"):
        source.ring_files(put(tmp_path, "drive.rpl", []))
    (one,) = source.ring_files(put(tmp_path, "pulls.rpl", [b"1"]))
    assert (one.slots, one.tail, one.pulls) == (0, 1, True)
    (one,) = source.ring_files(put(tmp_path, "drive.rpl", [bytes(1030)]))
    assert (one.slots, one.tail, one.pulls) == (2, 6, False)


def test_where_the_unwritten_rest_of_a_file_begins():
    """Behind the newest block, unless a block of the ring follows it, an older one with a copy of its number too."""
    assert order._unwritten_from([], 20) == 0
    assert order._unwritten_from([Run(0, 0, 0, 4), Run(4, 0, 6, 5)], 20) == 11
    assert order._unwritten_from([Run(4, 0, 0, 5), Run(0, 0, 12, 4)], 20) == 20
    assert order._unwritten_from([Run(0, 0, 0, 10), Run(3, 0, 12, 2)], 20) == 20


def test_a_run_goes_on_over_the_windows_in_which_slots_are_examined(monkeypatch):
    """Slots 0 and 1, then 3 to 7 with a step of the numbers at 6; windows of two slots."""
    sequence = np.array([10, 11, 99, 12, 13, 14, 20, 21], np.uint32)
    ours = np.array([True, True, False, True, True, True, True, True])
    wanted = [Run(0, 3, 0, 2), Run(2, 3, 3, 3), Run(10, 3, 6, 2)]
    for window in (1, 2, 3, 8):
        monkeypatch.setattr(order, "WINDOW", window)
        assert order._runs(3, sequence, ours, 10) == wanted, window
    assert order._runs(3, sequence[:0], ours[:0], 10) == []
    # numbers wrap: 2^32 - 1 is followed by 0
    around = np.array([0xFFFFFFFE, 0xFFFFFFFF, 0, 1], np.uint32)
    assert order._runs(0, around, np.ones(4, bool), 0) == [Run(-2, 0, 0, 4)]


def test_runs_that_overlap_are_cut_at_each_others_ends():
    a, b, c = Run(0, 0, 0, 10), Run(4, 1, 0, 3), Run(20, 1, 8, 2)
    pieces = order._pieces([a, b])
    assert pieces == [[Run(0, 0, 0, 4)], [Run(4, 0, 4, 3), Run(4, 1, 0, 3)], [Run(7, 0, 7, 3)]]
    assert order._each_once([a, c], [], []) == ([a, c], [])


@pytest.mark.parametrize("chunk", [scan.CHUNK, 6, 2])
def test_the_same_blocks_twice_count_once_however_many_are_compared_together(tmp_path, monkeypatch, chunk):
    monkeypatch.setattr(scan, "CHUNK", chunk)
    blocks = drive(3000).blocks
    assert len(blocks) > 10
    put(tmp_path, "drive.rpl", blocks)
    put(tmp_path, "pulls.rpl", blocks)
    made = store.open_store(tmp_path)
    assert made.blocks().read == len(blocks) and made.damage() == []
    assert sum(run.count for run in made.ordered.runs) == len(blocks)


def test_how_far_the_reading_is(tmp_path):
    """Two files of which the first has a quarter of the slots."""
    blocks = drive(1500).blocks
    quarter = len(blocks) // 4
    put(tmp_path, "drive.rpl", blocks[:quarter])
    put(tmp_path, "pulls.rpl", blocks[quarter : 4 * quarter])
    told = []
    store.open_store(tmp_path, told.append)
    assert told == sorted(told) and told[-1] == pytest.approx(1.0) and 0.25 in told


def test_what_is_missing_between_runs(tmp_path):
    """Three blocks of the drive; of a file of pulls, whose numbers jump, the slots without a block."""
    blocks = drive(1500).blocks
    put(tmp_path, "drive.rpl", [*blocks[:4], *blocks[7:]])
    made = store.open_store(tmp_path)
    assert made.blocks().missing == 3
    before, after = made.ordered.runs[:2]
    assert made.lost_between(before, after) == 3 and made.lost_between(after, before) == 0
    (tmp_path / "drive.rpl").unlink()
    put(tmp_path, "pulls.rpl", [*blocks[:4], *blocks[7:]])
    made = store.open_store(tmp_path)
    assert made.lost_between(*made.ordered.runs[:2]) == 0
    put(tmp_path, "pulls.rpl", [*blocks[:4], b"\1" * 512, *blocks[7:]])
    made = store.open_store(tmp_path)
    assert made.lost_between(*made.ordered.runs[:2]) == 1


def test_between_two_files_of_copies_a_whole_hole_is_missing(tmp_path):
    """Segments of the ring of pulls: which slots lie between them is not known."""
    blocks = drive(1500).blocks
    (tmp_path / "pulls").mkdir()
    put(tmp_path / "pulls", "0000.rpl", blocks[:4])
    put(tmp_path / "pulls", "0001.rpl", blocks[7:])
    made = store.open_store(tmp_path)
    assert [index.file.name for index in made.indexes] == ["pulls/0000.rpl", "pulls/0001.rpl"]
    assert made.lost_between(*made.ordered.runs[:2]) == 3


def test_copies_that_reach_further_than_the_drive_tell_that_it_was_cut_short(tmp_path):
    blocks = drive(1500).blocks
    put(tmp_path, "drive.rpl", blocks)
    put(tmp_path, "pulls.rpl", blocks[:6])
    assert store.open_store(tmp_path).cut_short is None
    put(tmp_path, "drive.rpl", blocks[:4])
    assert store.open_store(tmp_path).cut_short == ("drive.rpl", False)
    put(tmp_path, "drive.rpl", [])
    assert store.open_store(tmp_path).cut_short == ("drive.rpl", True)


def test_two_drives_in_a_folder_are_read_only_where_one_is_asked_for(tmp_path):
    put(tmp_path, "monday.rpl", drive().blocks)
    other = Ring(ring=b"else")
    other.setup()
    other.numbered(0, 300)
    put(tmp_path, "tuesday.rpl", other.blocks)
    with pytest.raises(BadUsage, match="monday.rpl, tuesday.rpl"):
        store.open_store(tmp_path)
    assert store.open_store(tmp_path, ring=b"else".hex()).blocks().read == len(other.blocks)


def test_blocks_of_pulls_from_before_the_drives_oldest_are_not_missing(tmp_path):
    """The drive's ring has overwritten what lies between."""
    blocks = drive(3000).blocks
    put(tmp_path, "pulls.rpl", blocks[:5])
    put(tmp_path, "drive.rpl", blocks[8:])
    assert store.open_store(tmp_path).blocks().missing == 0
    put(tmp_path, "drive.rpl", blocks[5:8] + blocks[10:])
    assert store.open_store(tmp_path).blocks().missing == 2


def test_a_glance_tells_the_first_value_and_whether_a_column_is_constant():
    ring = drive(60)
    ring.numbered(60, 60, heap=61, stall=2)
    data = b"".join(block for block in ring.blocks if block[layout.AT_KIND] == layout.PACKED)
    blocks = np.frombuffer(data, np.uint8).reshape(-1, 512)
    every = range(len(ring.bits))
    seen = glance.glance(blocks, ring.bits, every)
    for n in range(len(blocks)):
        columns = [unpack.unpack(blocks[n : n + 1], ring.bits).columns[c] for c in every]
        for c in every:
            constant = bool((columns[c] == columns[c][0]).all())
            assert seen.constant[c][n] == constant, ring.names[c]
            if constant:
                assert seen.first[c][n] == columns[c][0], ring.names[c]
    assert {bool(one) for column in seen.constant.values() for one in column} == {False, True}
    part = seen.of(np.array([len(blocks) - 1]))
    assert part.first[0].tolist() == [int(seen.first[0][-1])]


def test_a_slot_0_that_is_no_ring_s_own(tmp_path):
    """The first of a ring's segments, or a file that is one; a later segment's first slot is not the ring's."""
    from ringpull.ring.blocks import rings

    def first(name, blocks):
        path = put(tmp_path, name, blocks)
        return rings._in_slot_0(scan.index_file(RingFile(Path(path), name, path.stat().st_size), None))

    blocks = drive().blocks
    known = first("drive.rpl", blocks)
    assert known is not None and first("0000.rpl", blocks) == known
    assert first("0001.rpl", blocks) is None
    assert first("again.rpl", [bytes(512), *blocks]) is None
    assert first("more.rpl", []) is None


@pytest.fixture
def checksums(monkeypatch):
    """Lengths in blocks of the stretches whose checksum was computed."""
    asked = []
    real = crc.crc32
    monkeypatch.setattr(crc, "crc32", lambda data: asked.append(len(data) // layout.SLOT) or real(data))
    return asked


def wrong_of(blocks, hurt, first=0, count=None):
    data = bytearray(blocks * 1024)
    for number in hurt:
        data[number * layout.SLOT + 100] ^= 1
    out = []
    crc.wrong(memoryview(bytes(data)), first, 1024 if count is None else count, out)
    return out


def test_wrong_checksums_are_found_with_few_of_them(checksums):
    """1024 right blocks cost one; a wrong one is found by halving down to 16, which are looked at one by one: six times
    two, and 16."""
    block = drive().blocks[-1]
    assert wrong_of(block, []) == [] and checksums == [1024]
    for hurt in (0, 500, 511, 512, 1023):
        checksums.clear()
        assert wrong_of(block, [hurt]) == [hurt] and len(checksums) == 1 + 6 * 2 + 16
    assert wrong_of(block, [1, 2, 700, 1022]) == [1, 2, 700, 1022]
    assert wrong_of(block, [3, 20, 40], 4, 37) == [20, 40]  # slots 4 to 40


def test_the_checksum_of_a_number_of_blocks_is_computed_once(monkeypatch):
    crc.of_valid.cache_clear()
    asked = []
    real = zlib.crc32
    monkeypatch.setattr(crc.zlib, "crc32", lambda data: asked.append(len(data)) or real(data))
    assert crc.of_valid(3) == crc.of_valid(3) and asked == [layout.AT_CRC, 3 * layout.SLOT]
    block = drive().blocks[-1]
    assert crc.of_valid(2) == real(block * 2)


def test_without_the_faster_library_checksums_are_zlibs(monkeypatch):
    monkeypatch.setitem(sys.modules, "isal", None)
    monkeypatch.setitem(sys.modules, "isal.isal_zlib", None)
    spec = importlib.util.spec_from_file_location("crc_without_isal", crc.__file__)
    slower = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(slower)
    assert slower.crc32 is zlib.crc32 and slower.of_valid(1) == crc.of_valid(1)


@pytest.mark.parametrize(
    "pays, cores, together",
    [(True, 2, True), (True, 4, True), (False, 2, False), (True, 1, False), (True, None, False)],
)
def test_two_threads_where_it_pays_and_results_in_order(monkeypatch, pays, cores, together):
    """Three jobs are begun before the first result is given, no more: a large file is not read before it is needed."""
    monkeypatch.setattr(os, "cpu_count", lambda: cores)
    begun, threads = [], set()

    def jobs():
        for job in range(8):
            begun.append(job)
            yield job

    def work(job):
        threads.add(threading.current_thread().name)
        return job * 10

    results = two_at_a_time(work, jobs(), pays)
    assert next(results) == 0 and begun == ([0, 1, 2] if together else [0])
    assert next(results) == 10 and begun == ([0, 1, 2, 3] if together else [0, 1])
    assert list(results) == [20, 30, 40, 50, 60, 70]
    assert (threading.main_thread().name in threads) != together
    assert list(two_at_a_time(work, [], pays)) == []
