"""What the live page is told, and which ends of pulls are noticed."""

from ringpull.cable.page.feed import KEPT_S, Feed, Seen
from ringpull.cable.watch import Watch
from shared_math import layout

ABOUT = {"session": 1}


def reading(time_s):
    return {"time_s": time_s}


def state(mark, session=1, copying=False):
    return {"ring": "5ea70c1d", "session": session, "mark": mark, "copying": copying}


def test_a_page_gets_all_and_then_what_is_new():
    feed = Feed()
    feed.begin(ABOUT)
    feed.add(reading(0.0))
    feed.add(reading(0.1))
    told, seen = feed.news(Seen(), 0)
    assert told == {"about": ABOUT, "readings": [reading(0.0), reading(0.1)]}
    assert feed.news(seen, 0)[0] == {}
    feed.add(reading(0.2))
    feed.judged("<p>a pull</p>")
    told, seen = feed.news(seen, 0)
    assert told == {"readings": [reading(0.2)], "pulls": "<p>a pull</p>"}
    feed.trouble(["gone", "pulled", "plug it in"])
    feed.trouble(["gone", "pulled", "plug it in"])
    told, seen = feed.news(seen, 0)
    assert told == {"trouble": ["gone", "pulled", "plug it in"]}
    feed.add(reading(0.3))
    assert feed.news(seen, 0)[0] == {"readings": [reading(0.3)], "trouble": None}


def test_two_minutes_are_kept():
    feed = Feed()
    feed.begin(ABOUT)
    for number in range(3000):
        feed.add(reading(number / 8))
    told, _ = feed.news(Seen(), 0)
    assert told["readings"][0]["time_s"] == 2999 / 8 - KEPT_S and len(told["readings"]) == 8 * KEPT_S + 1


def test_another_session_begins_anew():
    feed = Feed()
    feed.begin(ABOUT)
    feed.add(reading(50.0))
    _, seen = feed.news(Seen(), 0)
    feed.begin({"session": 2})
    feed.add(reading(0.5))
    assert feed.news(seen, 0)[0] == {"about": {"session": 2}, "readings": [reading(0.5)]}


def test_a_pull_is_told_once_when_it_has_ended_and_is_copied():
    watching = Watch(state(0))
    assert not watching.ended(state(layout.open_mark(1))) and not watching.worth_asking(1, layout.open_mark(1))
    ended = layout.ended_mark(1)
    assert watching.worth_asking(1, ended) and not watching.ended(state(ended, copying=True))
    assert watching.ended(state(ended)) and not watching.ended(state(ended)) and not watching.worth_asking(1, ended)


def test_a_pull_of_another_start_has_the_same_number():
    ended = layout.ended_mark(1)
    watching = Watch(state(ended))
    assert not watching.ended(state(ended))
    assert not watching.ended(state(0, session=2))
    assert watching.worth_asking(2, ended) and watching.ended(state(ended, session=2))
