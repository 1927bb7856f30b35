"""Windows of a session: which blocks hold some rows, the nearest one, and values as in the whole table."""

import numpy as np
import pytest
from ring_bytes import Ring

import ringpull
from ringpull.ring.values.window import Finder

ROWS = 10  # of a block


def session_of(folder, *firsts, lost=(), row=None, **more):
    """A session of blocks of ten rows from each of `firsts` on, a setup group before the first and the fourth."""
    ring = Ring(**more)
    blocks = []
    for number, first in enumerate(firsts):
        if number in (0, 3):
            ring.setup()
        ring.rows(first, [(row or ring.row)(n) for n in range(first, first + ROWS)])
        blocks.append(ring.blocks[-1])
    kept = [block for block in ring.blocks if block not in [blocks[number] for number in lost]]
    (folder / "drive.rpl").write_bytes(b"".join(kept))
    (session,) = ringpull.read(folder / "drive.rpl").sessions
    return session


def rows_in(finder, runs):
    return finder._raw(runs)["row"].tolist()


def test_the_nearest_row_is_the_first_of_the_block_that_holds_it_or_of_the_nearer_one(tmp_path):
    """Rows 0 to 29 and 50 to 69: 39 is 10 behind 29 and 11 before 50, 40 the other way."""
    finder = Finder(session_of(tmp_path, 0, 10, 20, 50, 60)._blocks)
    told = {row: finder.nearest(row) for row in (-5, 0, 9, 10, 29, 30, 39, 40, 49, 50, 59, 60, 69, 70, 1000)}
    assert told == {
        -5: 0,
        0: 0,
        9: 0,
        10: 10,
        29: 20,
        30: 20,
        39: 20,
        40: 50,
        49: 50,
        50: 50,
        59: 50,
        60: 60,
        69: 60,
        70: 60,
        1000: 60,
    }
    ring = Ring()
    ring.setup()
    ring.rows(0, [ring.row(0)])
    ring.rows(1, [ring.row(1), ring.row(2)])
    (tmp_path / "drive.rpl").write_bytes(ring.data())
    one = Finder(ringpull.read(tmp_path).sessions[0]._blocks)
    assert [one.nearest(row) for row in range(-1, 4)] == [0, 0, 1, 1, 1]
    late = Finder(session_of(tmp_path, 100)._blocks)
    assert [late.nearest(row) for row in (0, 99, 105, 200)] == [100] * 4


def test_the_blocks_of_a_span_of_rows(tmp_path):
    finder = Finder(session_of(tmp_path, 0, 10, 20, 50, 60)._blocks)
    held = {
        (0, 1): (0, 10),
        (5, 15): (0, 20),
        (9, 10): (0, 10),
        (10, 20): (10, 20),
        (10, 21): (10, 30),
        (-9, 1): (0, 10),
        (50, 999): (50, 70),
        (69, 999): (60, 70),
    }
    for (first, end), (low, high) in held.items():
        assert rows_in(finder, finder.runs(first, end)) == list(range(low, high)), (first, end)
    over = rows_in(finder, finder.runs(25, 55))  # a setup group stands between them
    assert over == [*range(20, 30), *range(50, 60)]
    for first, end in ((15, 15), (20, 10), (-9, 0)):
        assert finder.runs(first, end) == []
    spans = finder.raw_of([(3, 5), (62, 63)])
    assert spans["row"].tolist() == [*range(10), *range(60, 70)] and len(spans["map"]) == 20
    assert finder.raw_of([])["row"].tolist() == []


def test_a_span_across_a_lost_block(tmp_path):
    finder = Finder(session_of(tmp_path, 0, 10, 20, 30, lost=(1,))._blocks)
    assert [run.count for run in finder.runs(0, 29)] == [1, 1]
    assert rows_in(finder, finder.runs(0, 29)) == [*range(10), *range(20, 30)]
    assert [run.count for run in finder.runs(25, 29)] == [1] and rows_in(finder, finder.runs(25, 29))[0] == 20
    assert [run.count for run in finder.runs(0, 9)] == [1] and rows_in(finder, finder.runs(0, 9))[0] == 0


def test_a_window_is_what_the_whole_table_has_there(tmp_path):
    """Engine speed too, which needs the cycles before and behind: an edge each 40 ms, so 600 rpm of two and a half a
    turn, in rows of 10 ms."""
    ring = Ring()

    def row(n):
        return ring.row(n, **{"engine_speed": n // 4 + 1, "engine_speed.age": 10000 * (n % 4) + 3000})

    session = session_of(tmp_path, *range(0, 1200, 10), row=row)
    whole = session.table()
    assert np.nanmean(whole["engine_speed_rpm"]) == pytest.approx(750.0)  # two a turn
    part = session.between(5.0, 7.0)
    rows = slice(500, 700)
    assert part["time_s"].tolist() == whole["time_s"][rows].tolist() and len(part["time_s"]) == 200
    for name in ("lambda_1", "map_kpa", "door", "mark", "session"):
        np.testing.assert_array_equal(part[name], whole[name][rows])
    assert part["engine_speed_rpm"] == pytest.approx(np.full(200, 750.0))


def test_a_sample_is_of_blocks_spread_over_the_session(tmp_path):
    session = session_of(tmp_path, *range(0, 1200, 10))
    told = session.sample(4)
    firsts = np.round(told["time_s"] * 100).astype(int)[::10].tolist()
    assert 3 <= len(firsts) <= 5 and firsts[-1] == 1190 and len(told["time_s"]) == 10 * len(firsts)
    assert firsts == sorted(firsts) and max(np.diff(firsts)) < 500
    whole = session.table()
    np.testing.assert_array_equal(told["map_kpa"][-10:], whole["map_kpa"][-10:])
