"""Marks, flags, lateness and counters from columns of a few rows."""

from types import SimpleNamespace

import numpy as np
from ring_bytes import Ring

from ringpull.ring.blocks import store
from ringpull.ring.rows import sessions
from ringpull.ring.rows.sessions import Hole
from ringpull.ring.rows.setup import Column
from ringpull.ring.values import service
from ringpull.ring.values.service import MarkSpan
from shared_math import layout

COLUMNS = [
    Column("mark", "mark", 16),
    Column("flag", "flag", 16),
    Column("late", "late", 16),
    Column("rpm.rejected", "rejected", 16),
    Column("wheel.rejected", "rejected", 16),
    Column("dips", "dips", 8),
    Column("stall", "stall", 12),
    Column("heap", "heap", 10),
]


def spoiled(pull):
    return layout.flag_of(pull, layout.FLAG_SPOILED)


def void(pull):
    return layout.flag_of(pull, layout.FLAG_VOID)


def survey(*tables, holes=(), columns=COLUMNS):
    """Of rows of 10 ms; tables: column name -> values, their rows from the first table's first on unless `row` says
    more."""
    made, row = [], 0
    for table in tables:
        count = len(next(iter(table.values())))
        rows = np.array(table.get("row", range(row, row + count)))
        row = int(rows[-1]) + 1 if count else row
        made.append({name: np.array(values, np.uint16) for name, values in table.items()} | {"row": rows})
    blocks = SimpleNamespace(setup=SimpleNamespace(columns=columns, period_us=10000), holes=list(holes))
    return service.of_columns(blocks, made)


def marks(*tables, **more):
    return [(one.id, one.start_s, one.end_s) for one in survey(*tables, **more).marks]


def test_pulls_begin_and_end_where_the_mark_changes():
    assert marks({"mark": [0, 0, 1, 1, 2, 2, 3, 4]}) == [(1, 0.02, 0.04), (2, 0.06, 0.07)]
    assert marks({"mark": [1, 1, 2]}) == [(1, 0.0, 0.02)]  # open from the first row on
    assert marks({"mark": [0, 1, 1]}) == [(1, 0.01, None)]
    assert marks({"mark": [0, 1, 3, 3, 4]}) == [(1, 0.01, 0.02), (2, 0.02, 0.04)]  # its end was in lost rows
    assert marks({"mark": [2, 2, 4]}) == []  # of what is no longer there nothing is told
    assert marks({"mark": [0]}, {"mark": [1]}, {"mark": [1, 2]}) == [(1, 0.01, 0.03)]  # over three pieces
    assert marks({"mark": [0, 1, 2]}, {"mark": [1, 2]}) == [(1, 0.01, 0.02)]  # a number that returns changes nothing


def test_flags_spoil_or_void_a_pull():
    told = survey({"mark": [1, 2, 3, 4, 5, 6], "flag": [0, 0, spoiled(1), spoiled(1), void(2), void(2)]})
    assert told.marks == [
        MarkSpan(1, 0.0, 0.01, True, False),
        MarkSpan(2, 0.02, 0.03, False, True),
        MarkSpan(3, 0.04, 0.05, False, False),
    ]


def test_a_pull_that_began_in_a_gap_began_with_the_gap():
    row = [0, 1, 50, 51, 52]
    table = {"row": row, "mark": [0, 0, 1, 1, 2]}
    assert marks(table, holes=[Hole(2, 50, 0, 1, False)]) == [(1, 0.02, 0.52)]
    assert marks(table, holes=[Hole(2, 50, 0, 0, True)]) == [(1, 0.5, 0.52)]  # between copies of pulls
    assert marks(table, holes=[Hole(2, 49, 0, 1, False)]) == [(1, 0.5, 0.52)]


def test_pulls_of_which_no_row_is_there_are_counted():
    lost, copies = Hole(1, 2, 0, 1, False), Hole(1, 2, 0, 0, True)

    def count(mark, holes=(lost,), **more):
        return survey({"mark": mark} | more, holes=holes).lost_marks

    assert count([0, 6]) == 3 and count([0, 5]) == 2  # the third is open there
    assert count([0, 1, 2, 6]) == 2 and count([4, 6]) == 1 and count([4, 4]) == 0
    assert count([0, 6], holes=()) == 0 and count([0, 6], holes=[copies]) == 0
    assert count([0, 6], holes=[copies, lost]) == 3
    assert count([0, 6], flag=[0, void(2)]) == 2 and count([0, 6], flag=[0, spoiled(2)]) == 3


def test_lateness_of_all_rows():
    """Of 200 rows 198 are at most 197 us late."""
    late = np.random.default_rng(1).permutation(200)
    told = survey({"late": late[:70]}, {"late": late[70:]})
    assert (told.late_us_max, told.late_us_p99, told.late_blocks) == (199, 197, None)
    told = survey({"late": [0, 0]})
    assert (told.late_us_max, told.late_us_p99) == (0, 0)
    bare = survey({"mark": [0, 0]})
    assert (bare.late_us_max, bare.late_us_p99) == (None, None)
    wide = survey({"late": [5]}, columns=[Column("late", "late", 17)])
    assert wide.late_us_max is None


def test_counters_wrap_at_their_width():
    told = survey(
        {"rpm.rejected": [65530, 65535, 3], "wheel.rejected": [0, 0, 2], "dips": [250, 255, 0]},
        {"rpm.rejected": [4, 4], "wheel.rejected": [2, 2], "dips": [1, 1]},
    )
    assert told.rejected == {"rpm": 65536 + 4, "wheel": 2} and told.dips == 257
    assert survey({"mark": [0]}).rejected == {"rpm": 0, "wheel": 0} and survey({"mark": [0]}).dips is None
    assert survey({"dips": [0, 0]}).dips == 0


def test_the_longest_stall_and_the_least_memory():
    told = survey({"stall": [0, 40, 20], "heap": [90, 80, 85]}, {"stall": [30], "heap": [81]})
    assert (told.stall_ms_max, told.heap_kb_least) == (40, 80)
    told = survey({"stall": [0], "heap": [90]}, {"stall": [16], "heap": [0]})
    assert (told.stall_ms_max, told.heap_kb_least) == (16, 0)
    bare = survey({"mark": [0]})
    assert (bare.stall_ms_max, bare.heap_kb_least) == (None, None)


def test_an_empty_piece_changes_nothing():
    empty = {column.name: [] for column in COLUMNS}
    told = survey(empty, {"mark": [1], "dips": [3], "stall": [20], "heap": [70], "late": [9]}, empty)
    assert [one.id for one in told.marks] == [1]
    assert (told.dips, told.stall_ms_max, told.heap_kb_least, told.late_us_max) == (3, 20, 70, 9)
    assert survey(empty).marks == [] and survey().lost_marks == 0


def test_of_a_long_session_a_mark_is_seen_that_changes_where_two_looks_meet(tmp_path, monkeypatch):
    """Blocks of ten rows: the mark opens with the first block of the second look, and closes within that."""
    ring = Ring()
    ring.setup()
    monkeypatch.setattr(service, "GLANCE", len(ring.blocks) + 2)
    for block in range(12):
        mark = 0 if block < 2 else 1 if block < 5 else 2
        ring.rows(10 * block, [ring.row(n, mark=mark) for n in range(10 * block, 10 * block + 10)])
    (tmp_path / "drive.rpl").write_bytes(ring.data())
    (session,) = sessions.find(store.open_store(tmp_path)).sessions
    wanted = [MarkSpan(1, 0.2, 0.5, False, False)]
    assert service._of_long(session).marks == wanted and service.of_blocks(session).marks == wanted
