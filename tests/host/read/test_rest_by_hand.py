"""What of a long session is left out of judging: only hours in which neither the engine turned nor a mark was open.

Rows of a second, in blocks of ten: 60 rows are kept on either side, and spans up to 1024 rows apart are one.
"""

import pytest
from ring_bytes import CONFIG, Ring

from ringpull.ring.blocks import store
from ringpull.ring.rows import sessions
from ringpull.ring.values import rest


class Drive:
    """Blocks of ten rows with the crank's count at rest; `turning` moves it on by one a row."""

    def __init__(self, **more):
        self.ring = Ring(period_us=1000000, **more)
        self.ring.setup()
        self.count = 5

    def block(self, first, turning=False, mark=0, plain=False):
        rows = []
        for n in range(first, first + 10):
            self.count += turning
            rows.append(self.ring.row(n, engine_speed=self.count, mark=mark))
        self.ring.rows(first, rows, plain=plain)
        return self

    def awake(self, folder):
        (folder / "drive.rpl").write_bytes(self.ring.data())
        (session,) = sessions.find(store.open_store(folder)).sessions
        return rest.awake(session)


@pytest.fixture(params=[rest.GLANCE, 1, 3])
def together(request, monkeypatch):
    """How many blocks are examined at once, which changes nothing."""
    monkeypatch.setattr(rest, "GLANCE", request.param)


def test_a_turning_engine_and_an_open_mark_are_kept(tmp_path, together):
    """Turning in rows 1000 to 1009, so that the count of the block behind it is another; a mark in 4000 to 4009."""
    drive = Drive().block(0).block(990).block(1000, turning=True).block(1010).block(1020)
    drive.block(3990).block(4000, mark=1).block(4010, mark=2).block(8000, mark=2)
    assert drive.awake(tmp_path) == [(940, 1080), (3940, 4070)]


def test_an_engine_that_turned_in_a_gap_is_kept(tmp_path, together):
    drive = Drive().block(0).block(2000)
    drive.count += 1
    assert drive.block(5000).block(8000).awake(tmp_path) == [(4940, 5070)]


def test_nothing_turned_at_all(tmp_path, together):
    assert Drive().block(0).block(8000).awake(tmp_path) == []


def test_the_first_rows_are_where_the_session_begins(tmp_path):
    drive = Drive().block(50, turning=True).block(60).block(70).block(8000)
    assert drive.awake(tmp_path) == [(50, 130)]


@pytest.mark.parametrize("second, spans", [(1020 + 60 + 1024 + 60, 1), (1020 + 60 + 1024 + 61, 2)])
def test_spans_that_a_block_might_join_are_one(tmp_path, second, spans):
    """The first ends with row 1019 and what is kept behind it; the second begins with what is kept before it."""
    drive = Drive().block(0).block(1000, turning=True).block(1010)
    told = drive.block(second, turning=True).block(second + 10).block(9000).awake(tmp_path)
    ends = (940, second + 20 + 60)
    assert told == ([ends] if spans == 1 else [(940, 1080), (second - 60, ends[1])])


def test_a_span_within_another_does_not_shorten_it(tmp_path):
    drive = Drive().block(1000, turning=True).block(1010).block(1020, mark=1).block(1030, mark=2).block(9000, mark=2)
    assert drive.awake(tmp_path) == [(1000, 1090)]


@pytest.mark.parametrize("last, short", [(7189, True), (7190, False)])
def test_a_session_of_less_than_two_hours_is_used_whole(tmp_path, last, short):
    assert (Drive().block(0).block(last).awake(tmp_path) is None) == short


def test_where_rest_cannot_be_told_all_is_used(tmp_path):
    assert Drive().block(0).block(8000, plain=True).awake(tmp_path) is None
    assert Drive().block(8000).block(0).awake(tmp_path) is None  # rows go back
    channels = [one for one in CONFIG["channels"] if one["kind"] != "pulses"]
    assert Drive(settings=CONFIG | {"channels": channels}).block(0).block(8000).awake(tmp_path) is None
