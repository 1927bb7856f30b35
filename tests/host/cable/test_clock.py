"""The clock that a PC sets: when sessions were, known or guessed, on the card and in what was fetched."""

import json
from datetime import UTC, datetime, timedelta

import pytest
from ring_bytes import Ring
from truth import desk
from truth.cable_desk import desk as cable_desk
from truth.cable_desk import linked, wait_for
from truth.profile import Profile, holds
from truth.signals import Signals, Tach

import ringpull
from ringpull.cable import fetch
from ringpull.files import connected
from ringpull.files.dates import driven
from ringpull.report import evidence
from shared_math import layout

END_S = 600.0
NEAR = timedelta(hours=1)  # a test that hangs is not late


def when(utc):
    return datetime.strptime(utc, connected.FORM).replace(tzinfo=UTC)


def test_a_connection_dates_its_session_and_those_before(tmp_path):
    level = Profile([(0, 0.85), (END_S, 0.85)])
    made = Signals(holds([3000], END_S), Tach(2), {"lambda_1": level}, presses_s=[0.8, 1.8])
    card = tmp_path / "fetched"
    with cable_desk(tmp_path, made, END_S, paced=4) as running:
        with linked(running) as link:
            wait_for(lambda: link.state()["row"] > 400, running.said())
        running.reset()
        with linked(running) as link:
            wait_for(lambda: link.state()["mark"] == layout.ended_mark(1), running.said())
            before = link.state()["drive"][2]
            link.set_clock()
            wait_for(lambda: link.state()["drive"][2] > before + 2 and not link.state()["copying"], running.said())
            fetch.fetch(link, card, fetch.EVERYTHING)
            fetch.fetch(link, tmp_path / "pulls", fetch.MARKED)
    now = datetime.now(UTC)
    alone = ringpull.read(tmp_path / "pulls")
    assert now - NEAR < when(alone.session(2).start_utc) < now + NEAR and alone.session(2).start_from == "connection"
    assert driven(alone).known_from == "connection"

    (card / connected.NAME).unlink()  # what stands on the card itself says it too
    drive = ringpull.read(card)
    first, second = drive.sessions
    assert second.start_from == "connection" and now - NEAR < when(second.start_utc) < now + NEAR
    assert first.start_utc is None and first.start_from == ""
    assert drive.before_utc(1) == second.start_utc and drive.before_utc(2) is None
    told = json.loads(desk.command("info", card, "--json").stdout)["sessions"]
    assert [one["start_utc"] for one in told] == [None, second.start_utc]
    assert [one["start_from"] for one in told] == ["", "connection"]
    assert [one["before_utc"] for one in told] == [second.start_utc, None]
    words = desk.command("info", card).stdout
    assert f"began before {second.start_utc} (a guess: " in words
    assert f"began {second.start_utc} (by the PC that was connected)" in words
    page = evidence.health(drive)
    assert f"before {second.start_utc} (a guess: " in page


@pytest.mark.parametrize(
    "utc, row, began",
    [
        ("2031-05-06T07:08:09Z", 1000, "2031-05-06T07:07:59Z"),
        ("2031-05-06T07:08:09Z", 0, "2031-05-06T07:08:09Z"),
        ("2031-05-06T07:08:09Z", True, None),
        ("2031-05-06T07:08:09Z", -1, None),
        ("2031-05-06T07:08:09Z", 1.5, None),
        ("2031-13-06T07:08:09Z", 10, None),
        ("0001-01-01T00:00:00Z", 1000, None),
        ("yesterday", 10, None),
        (None, 10, None),
    ],
)
def test_a_health_block_dates_its_session(tmp_path, utc, row, began):
    """Row 0 was row * period before; what means no time is no time."""
    ring = Ring()
    ring.setup()
    ring.rows(0, [ring.row(n) for n in range(50)])
    ring.text(json.dumps({"rows": 50, "utc": utc, "row": row}).encode(), layout.HEALTH)
    (tmp_path / "drive.rpl").write_bytes(ring.data())
    (session,) = ringpull.read(tmp_path).sessions
    assert session.start_utc == began and session.start_from == ("connection" if began else "")


@pytest.mark.parametrize(
    "text", ["{", "[]", '{"04030201": 5}', '{"01020304": {"1": "soon"}}', '{"01020304": {"1": 7}}', '{"01020304": 5}']
)
def test_what_was_kept_wrongly_is_left(tmp_path, text):
    ring = Ring()
    ring.setup()
    ring.rows(0, [ring.row(n) for n in range(50)])
    (tmp_path / "drive.rpl").write_bytes(ring.data())
    (tmp_path / connected.NAME).write_text(text)
    drive = ringpull.read(tmp_path)
    assert drive.ring_id == "01020304" and drive.sessions[0].start_utc is None
