"""Rows of close windows: no request waits for a decoder, and what comes in the end is right."""

import json
import os
import shutil
import signal

import numpy as np
import pytest
from limits import until
from pages import CARD

from ringpull.view import rows, shown
from ringpull.view.pyramid import grouped
from ringpull.view.rows import MOST_AHEAD, MOST_WANTED, Rows, Wanted
from ringpull.view.shelf import Shelved

NAMES = ["map_kpa", "engine_speed_rpm"]


@pytest.fixture
def shelved(tmp_path, monkeypatch):
    """A drive in stretches so short that there are many, and called long, so that it is not decoded at the start."""
    monkeypatch.setattr(shown, "SMALL", 100)
    card = shutil.copytree(CARD, tmp_path / "card")
    one = Shelved(card)
    one.start()
    yield one
    one.stop()


def test_first_touch_is_answered_at_once_and_right_in_the_end(shelved, drive):
    session, one = drive.sessions[0], shelved.shown[1]
    os.kill(shelved._decoder.pid, signal.SIGSTOP)  # a decoder as slow as can be
    first = one.window(61.0, 62.0, 500)
    assert not first.fine and one.nearest(90.0) is None
    os.kill(shelved._decoder.pid, signal.SIGCONT)
    last = until(lambda: (got := one.window(61.0, 62.0, 500)).fine and got)
    table = session.between(61.0, 62.01)
    begin = np.round(table["time_s"][0] / session.period_s) - last.runs[0][0]
    assert begin == 0 and last.period_s == session.period_s
    for at, name in enumerate(one.names):
        true = table[name][: last.samples.shape[1]].astype(np.float32)
        assert np.array_equal(last.samples[at], true, equal_nan=True), name
    row = until(lambda: one.nearest(90.0))
    assert row[0] == pytest.approx(90.0, abs=session.period_s)


def test_beside_a_window_rows_are_decoded_ahead(shelved):
    one = shelved.shown[1]
    until(lambda: one.window(61.0, 62.0, 500).fine)
    until(lambda: not one.rows.missing(2, 5))  # 4096 rows of 5 ms each: 61 s is in stretch 2, its window reaches into 3
    assert one.window(80.0, 81.0, 500).fine


def test_without_the_decoder_rows_are_decoded_here(shelved):
    one = shelved.shown[1]
    shelved._decoder.kill()
    shelved._decoder.wait()
    until(lambda: one.window(61.0, 62.0, 500).fine)
    assert until(lambda: one.nearest(100.0))[0] == pytest.approx(100.0, abs=0.005)


def test_a_card_that_is_taken_out_is_told(shelved):
    until(lambda: shelved.done)
    until(lambda: shelved.shown[1].window(61.0, 62.0, 500).fine)
    shutil.rmtree(shelved.source)
    until(lambda: shelved.shown[1].window(127.0, 128.0, 500).fine)  # nothing is left to wait for
    assert "can't be read any more" in shelved.fault and "what to do" in shelved.fault


def test_what_is_known_comes_anew_only_when_it_has_grown(shelved):
    until(lambda: shelved.done)
    known = json.loads(shelved.known())
    assert shelved.state()["version"] >= 2  # the marks, then the pulls with their lean events
    assert known["spans"] == shelved.spans and any(span["kind"] == "lean" for span in known["spans"])
    assert "spans" not in shelved.state() and len(json.dumps(shelved.state())) < 300


def test_asked_last_is_decoded_first_and_beside_it_last():
    there: set[int] = set()
    sent = []

    def missing(want):
        session, first, count = want
        out = [k for k in range(first, first + count) if k not in there]
        return [(session, k, 1) for k in out]

    wanted = Wanted(sent.append, missing)
    wanted.ask([(1, 10, 1)], [(1, 11, 1)])
    wanted.ask([(1, 20, 1)], [(1, 21, 1)])
    wanted.ask([(1, 30, 1)], [(1, 31, 1)])
    assert sent == [(1, 10, 1)]  # one thing at a time
    for _ in range(5):
        there.add(sent[-1][1])
        wanted.arrived()
    assert [want[1] for want in sent] == [10, 30, 20, 31]  # each once, of what lies beside only the last
    for k in range(100, 100 + 2 * MOST_WANTED):
        wanted.ask([(1, k, 1)], [])
    assert len(wanted._asked) == MOST_WANTED


def test_ahead_goes_in_small_pieces():
    sent = []
    Wanted(sent.append, lambda want: [want]).ask([], [(1, 5, 8)])
    assert sent == [(1, 5, MOST_AHEAD)]


def test_memory_for_rows_is_bounded(drive, monkeypatch):
    monkeypatch.setattr(rows, "STRETCH", 256)
    monkeypatch.setattr(rows, "MOST_KEPT", 10)
    one = Rows(drive.sessions[0], NAMES)
    for first in range(0, 20_000, 500):
        got, values = one.between(first, first + 500)
        assert len(got) == values.shape[1] == 500
    assert len(one._kept) == 10


@pytest.mark.parametrize(("first", "count", "size"), [(0, 64, 16), (5, 40, 8), (7, 1, 4), (31, 33, 1), (3, 1000, 64)])
def test_grouped_by_pairs_is_the_plain_search(first, count, size):
    values = np.random.default_rng(count).normal(size=(3, count)).astype(np.float32)
    values[:, :: max(count // 7, 2)] = np.nan
    numbers = np.arange(first, first + count)
    at, low, high = grouped(numbers, values, values, size)
    assert at.tolist() == sorted(set((numbers // size).tolist()))
    for k, number in enumerate(at):
        inside = values[:, numbers // size == number]
        known = np.isfinite(inside).any(axis=1)
        assert np.array_equal(low[known, k], np.nanmin(inside[known], axis=1))
        assert np.array_equal(high[known, k], np.nanmax(inside[known], axis=1))
        assert np.isnan(low[~known, k]).all()
