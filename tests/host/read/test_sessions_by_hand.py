"""From blocks to sessions, on files of a few blocks: batches, gaps, session numbers that come round, blocks that claim
too much, what the last health block says."""

import json

import numpy as np
import pytest
from ring_bytes import Ring

from ringpull.ring.blocks import store
from ringpull.ring.blocks.order import Run
from ringpull.ring.rows import sessions
from ringpull.ring.rows.sessions import Hole
from shared_math import layout, packing


def found(folder, blocks):
    (folder / "drive.rpl").write_bytes(b"".join(blocks))
    return sessions.find(store.open_store(folder))


def only(folder, ring):
    (session,) = found(folder, ring.blocks).sessions
    return session


def tens(ring, *firsts, **more):
    """Blocks of ten rows, from each of `firsts` on."""
    for first in firsts:
        ring.rows(first, [ring.row(n) for n in range(first, first + 10)], **more)


def started(**more):
    ring = Ring(**more)
    ring.setup()
    return ring


def test_runs_in_batches_and_single_blocks_of_them():
    runs = [Run(0, 0, 10, 5), Run(9, 1, 3, 4)]
    told = [[(run.start, run.file, run.slot, run.count) for run in batch] for batch in sessions.batches(runs, 4)]
    assert told == [[(0, 0, 10, 4)], [(4, 0, 14, 1), (9, 1, 3, 3)], [(12, 1, 6, 1)]]
    assert [len(batch) for batch in sessions.batches(runs, 9)] == [2] and not list(sessions.batches([], 4))
    assert sessions.places_of(runs) == [(0, 10), (0, 11), (0, 12), (0, 13), (0, 14), (1, 3), (1, 4), (1, 5), (1, 6)]
    singles = sessions.single_runs(runs, np.array([0, 4, 5, 8]))
    assert singles == [Run(0, 0, 10, 1), Run(4, 0, 14, 1), Run(9, 1, 3, 1), Run(12, 1, 6, 1)]


@pytest.mark.parametrize(
    "hole, lost, reason",
    [
        (Hole(10, 30, 5, 0, False), 20, "the logger could not take or keep these rows"),
        (Hole(10, 30, 0, 1, False), 0, "a block is damaged or missing"),
        (Hole(10, 30, 5, 2, False), 5, "2 blocks are damaged or missing, and the logger lost rows"),
        (Hole(10, 30, 0, 0, True), 0, "between the copies of two pulls"),
        (Hole(10, 30, 50, 3, True), 20, "3 blocks are damaged or missing, and the logger lost rows"),
    ],
)
def test_what_a_gap_is(hole, lost, reason):
    assert (hole.lost, hole.reason) == (lost, reason)


def test_gaps_of_lost_rows_and_of_lost_blocks(tmp_path):
    """Rows 10 to 14 lost by the logger; then a block of ten lost, and five rows told before the next one."""
    ring = started()
    tens(ring, 0)
    tens(ring, 15, lost=5)
    tens(ring, 25)
    tens(ring, 40, lost=5)
    tens(ring, 50)
    del ring.blocks[-3]
    session = only(tmp_path, ring)
    assert session.holes == [Hole(10, 15, 5, 0, False), Hole(25, 40, 5, 1, False)]
    assert (session.first, session.end, session.rows, session.ordered) == (0, 60, 40, True)


def test_a_gap_whose_size_the_field_does_not_hold_is_lost_as_a_whole(tmp_path):
    ring = started()
    tens(ring, 0)
    tens(ring, 70000, lost=0xFFFF)
    assert only(tmp_path, ring).holes == [Hole(10, 70000, 69990, 0, False)]
    ring = started()
    tens(ring, 0)
    tens(ring, 15, lost=9)  # more than are missing
    assert only(tmp_path, ring).holes == [Hole(10, 15, 5, 0, False)]


def test_rows_that_go_back_are_told(tmp_path):
    ring = started()
    tens(ring, 30, 40, 10, 50)
    session = only(tmp_path, ring)
    assert (session.first, session.end, session.rows, session.ordered) == (10, 60, 40, False)


def test_session_numbers_come_round(tmp_path):
    """65,535 is followed by 1, which is another session than the one that began the ring; 2 is that one's follower."""
    ring = Ring()
    for number in (1, 65535, 1, 2):
        ring.session = number
        ring.setup()
        tens(ring, 0)
    assert [one.id for one in found(tmp_path, ring.blocks).sessions] == [1, 65535, 65536, 65537]
    ring = Ring()
    for number in (5, 65535, 1, 5):
        ring.session = number
        ring.setup()
        tens(ring, 0)
    assert [one.id for one in found(tmp_path, ring.blocks).sessions] == [5, 65535, 1]
    assert found(tmp_path, ring.blocks).sessions[0].rows == 20


def endless(ring, rows):
    """A block of so many rows that are all the same."""
    block = ring.start(layout.PACKED)
    packer = packing.Packer(ring.bits, rows)
    row = ring.row(0)
    for _ in range(rows):
        assert packer.add(row)
    packer.write(block, 10, 0)
    ring.put(block)


@pytest.mark.parametrize("period_us, most", [(10000, 1024), (5000, 2000), (1000000, 1024)])
def test_blocks_that_claim_more_rows_than_a_logger_puts_into_one_are_refused(tmp_path, period_us, most):
    """Ten seconds, or 1024 rows where these take longer."""
    for rows, kept in ((most, True), (most + 1, False)):
        ring = started(period_us=period_us)
        tens(ring, 0)
        endless(ring, rows)
        session = only(tmp_path, ring)
        assert session.rows == (10 + rows if kept else 10)
        assert len(session.store.unusable) == (0 if kept else 1)
        assert sum(len(row) for row, _ in session.pieces()) == session.rows


def test_a_refused_block_is_one_of_a_gap(tmp_path):
    """Within a run of blocks; and at the end of one, before a block that is lost."""
    ring = started()
    tens(ring, 0)
    endless(ring, 1025)
    tens(ring, 5000)
    assert only(tmp_path, ring).holes == [Hole(10, 5000, 0, 1, False)]
    ring = started()
    tens(ring, 0)
    endless(ring, 1025)
    tens(ring, 3000, 5000)
    del ring.blocks[-2]
    assert only(tmp_path, ring).holes == [Hole(10, 5000, 0, 2, False)]
    ring = started()
    tens(ring, 0, 1000)
    endless(ring, 1025)
    tens(ring, 5000)
    del ring.blocks[-3]  # the refused one begins a run
    assert only(tmp_path, ring).holes == [Hole(10, 5000, 0, 2, False)]


def test_the_longest_block_and_the_kinds_of_blocks(tmp_path):
    ring = started()
    tens(ring, 0)
    ring.rows(10, [ring.row(n) for n in range(10, 17)])
    session = only(tmp_path, ring)
    assert session.most_rows == 10 and session.all_packed()
    ring.rows(17, [ring.row(17)], plain=True)
    assert not only(tmp_path, ring).all_packed()


def test_blocks_spread_over_a_session_end_with_its_last_of_rows(tmp_path):
    ring = started()
    tens(ring, *range(0, 100, 10))
    ring.text(b"{}", layout.HEALTH)
    session = only(tmp_path, ring)
    total = len(ring.blocks)
    setup = total - 11
    assert session.spread(1) == [Run(total - 2, 0, total - 2, 1)]  # the first is setup, the last of rows is told
    assert [run.slot for run in session.spread(total)] == list(range(setup, total - 1))
    assert all(run.count == 1 for run in session.spread(4)) and session.spread(4)[-1].slot == total - 2


def test_health_and_codes_are_those_of_the_last_block_that_can_be_read(tmp_path):
    ring = started()
    tens(ring, 0)
    assert only(tmp_path, ring).health == {} and only(tmp_path, ring).codes == b""
    ring.text(json.dumps({"rows": 1}).encode(), layout.HEALTH)
    ring.text(b"old", layout.CODES)
    tens(ring, 10)
    ring.text(b"new", layout.CODES)
    ring.text(json.dumps({"rows": 2}).encode(), layout.HEALTH)
    ring.text(json.dumps({"rows": 3}).encode(), layout.HEALTH)
    session = only(tmp_path, ring)
    assert (session.health, session.codes) == ({"rows": 3}, b"new")
    ring.text(b"no object", layout.HEALTH)
    assert only(tmp_path, ring).health == {"rows": 3}


def test_rows_without_a_setup_are_counted_and_rows_that_cannot_be_are_told(tmp_path):
    ring = Ring()
    tens(ring, 0, 10)
    told = found(tmp_path, ring.blocks)
    assert told.sessions == [] and told.undecoded == {1: 2} and told.faults == []
    ring = started()
    for _ in range(3):  # descriptors of widths that do not fit
        block = ring.start(layout.PACKED)
        layout.put16(block, layout.AT_ROWS, 50)
        block[layout.AT_PAYLOAD : layout.AT_CRC] = b"\xff" * (layout.AT_CRC - layout.AT_PAYLOAD)
        ring.put(block)
    told = found(tmp_path, ring.blocks)
    assert told.sessions == [] and told.undecoded == {1: 3} and len(told.faults) == 1


def test_pieces_of_some_columns_and_of_some_blocks(tmp_path):
    ring = started()
    tens(ring, *range(0, 100, 10))
    session = only(tmp_path, ring)
    parts = ring.blocks[0][layout.AT_PARTS]
    pieces = list(session.pieces([2, 0], most=parts + 1))
    assert pieces[0][0].tolist() == list(range(10))  # behind the setup group
    assert pieces[1][0].tolist() == list(range(10, 10 * (parts + 2)))
    assert all(set(columns) == {0, 2} for _, columns in pieces) and sum(len(row) for row, _ in pieces) == 100
    last = session.spread(2)[-1:]
    ((row, columns),) = session.pieces(runs=last)
    assert row.tolist() == list(range(90, 100)) and len(columns) == len(ring.bits)
