"""An adder killed at any step, and two of them at once: nothing is lost and nothing counts twice."""

import os
import signal
from multiprocessing import get_context

import pytest
import shelf_cards
from limits import HANG_S

from ringpull.shelf import catalogue, keep, moving, putting, rejudge, tidy
from ringpull.shelf.keep import Told
from ringpull.shelf.places import Shelf
from ringpull.shelf.tables import BESIDE

pytestmark = [
    pytest.mark.skipif(not hasattr(os, "fork"), reason="this system forks no processes"),
    pytest.mark.usefixtures("quick"),
]
TOLD = Told("hill", on="2026-04-01")
STEPS = ("replace", "fsync", "unlink")  # each call of these is a step, and each may be the last


def die_at(step):
    """From now on this process is killed at its step with this number."""
    count = [0]

    def counted(real):
        def call(*words, **more):
            count[0] += 1
            if count[0] == step:
                os.kill(os.getpid(), signal.SIGKILL)
            return real(*words, **more)

        return call

    for name in STEPS:
        setattr(os, name, counted(getattr(os, name)))


def forked(work, *words):
    """Exit code of the work in a process of its own; below 0 the signal that killed it."""
    process = get_context("fork").Process(target=work, args=words)
    process.start()
    process.join(HANG_S)
    assert process.exitcode is not None
    return process.exitcode


def doomed(step, work, *words):
    die_at(step)
    work(*words)


def whole(shelf):
    """Drive -> blocks of its ring, of what counts; fails where one of its files is missing or counts twice."""
    place, out = Shelf(shelf), {}
    for row in catalogue.drives(place, "hill"):
        ring = place.folder("rings", "hill") / row["ring"]
        assert ring.stat().st_size == 512 * row["blocks"]
        for table in BESIDE:
            part = row["rows_part"] if table == "rows" else row["part"]
            live = {(row["drive"], part)}
            found = tidy.live_rows(place.files(table, "hill"), table, live)
            assert found.num_rows > 0, table
            if table == "pulls":
                assert found["pull"].to_pylist() == [1, 2, 3]
        out[row["drive"]] = row["blocks"]
    return out


def every_death(make, work, before, after, stride):
    """The work killed at each of its steps on a shelf made anew: what counts afterwards is what was before or what it
    was to become, and doing it again comes to the same as never having been killed."""
    step, died = 1, 0
    while True:
        shelf = make(step)
        code = forked(doomed, step, work, shelf)
        assert code in (0, -signal.SIGKILL)
        assert whole(shelf) in (before, after)
        work(shelf)
        assert whole(shelf) == after, f"killed at step {step}"
        if code == 0:
            assert died > 2
            return
        died += 1
        step += stride


@pytest.fixture
def cards(tmp_path):
    return shelf_cards.card(tmp_path / "short", most=150), shelf_cards.card(tmp_path / "long")


def blocks_in(card):
    return (card / "drive.rpl").stat().st_size // 512


def kept_anew(tmp_path, cards, stride):
    every_death(
        lambda step: tmp_path / str(step),
        lambda shelf: keep.keep(shelf, cards[1], TOLD),
        {},
        {"63617231-1": blocks_in(cards[1])},
        stride,
    )


def kept_longer(tmp_path, cards, stride):
    def make(step):
        keep.keep(tmp_path / f"longer{step}", cards[0], TOLD)
        return tmp_path / f"longer{step}"

    every_death(
        make,
        lambda shelf: keep.keep(shelf, cards[1], TOLD),
        {"63617231-1": blocks_in(cards[0])},
        {"63617231-1": blocks_in(cards[1])},
        stride,
    )


def tidied(tmp_path, cards, stride):
    others = [shelf_cards.card(tmp_path / f"card{at}", session=at) for at in (2, 3)]
    there = {f"63617231-{at}": blocks_in(cards[1]) for at in (2, 3)}

    def make(step):
        for one in others:
            keep.keep(tmp_path / f"tidy{step}", one, TOLD)
        return tmp_path / f"tidy{step}"

    every_death(make, tidy.tidy, there, there, stride)


def noted(tmp_path, cards, stride):
    there = {"63617231-1": blocks_in(cards[1])}

    def make(step):
        keep.keep(tmp_path / f"note{step}", cards[1], TOLD)
        return tmp_path / f"note{step}"

    told = Told("hill", on="2026-04-01", change="plugs")
    every_death(make, lambda shelf: keep.keep(shelf, cards[1], told), there, there, stride)


def removed(tmp_path, cards, stride):
    """From a tidied file, with a newer row of its own."""
    others = [shelf_cards.card(tmp_path / f"card{at}", session=at) for at in (2, 3)]
    there = {f"63617231-{at}": blocks_in(cards[1]) for at in (2, 3)}

    def make(step):
        shelf = tmp_path / f"gone{step}"
        for one in others:
            keep.keep(shelf, one, TOLD)
        tidy.tidy(shelf)
        keep.keep(shelf, others[0], Told("hill", change="plugs"))
        return shelf

    def work(shelf):
        if catalogue.drives(Shelf(shelf), "hill", "63617231-2"):
            moving.remove(shelf, "63617231-2")

    every_death(make, work, there, {"63617231-3": blocks_in(cards[1])}, stride)


def judged_again(tmp_path, cards, stride):
    there = {"63617231-1": blocks_in(cards[1])}

    def make(step):
        keep.keep(tmp_path / f"again{step}", cards[1], TOLD)
        return tmp_path / f"again{step}"

    every_death(make, lambda shelf: list(rejudge.each(shelf, rejudge.wanted(shelf))), there, there, stride)


@pytest.mark.parametrize("story", [kept_longer, tidied])
def test_killed_at_some_steps(story, tmp_path, cards):
    story(tmp_path, cards, 11)


@pytest.mark.slow
@pytest.mark.parametrize("story", [kept_anew, kept_longer, noted, tidied, removed, judged_again])
def test_killed_at_every_step(story, tmp_path, cards):
    story(tmp_path, cards, 1)


def adds(shelf, card, barrier):
    """Keep a card; the files are written once both have come to that."""
    real, waited = keep.written, []

    def written(*words):
        if not waited:
            waited.append(barrier.wait(HANG_S))
        return real(*words)

    keep.written = written
    keep.keep(shelf, card, TOLD)


@pytest.mark.parametrize("which", [(1, 1), (0, 1), (1, 0)])
def test_two_adders_of_one_drive(which, tmp_path, cards):
    context = get_context("fork")
    barrier = context.Barrier(2)
    adders = [context.Process(target=adds, args=(tmp_path / "shelf", cards[at], barrier)) for at in which]
    for one in adders:
        one.start()
    for one in adders:
        one.join(HANG_S)
    assert [one.exitcode for one in adders] == [0, 0]
    assert whole(tmp_path / "shelf") == {"63617231-1": blocks_in(cards[1])}
    keep.keep(tmp_path / "shelf", cards[0], TOLD)
    assert whole(tmp_path / "shelf") == {"63617231-1": blocks_in(cards[1])}


def test_two_adders_and_one_who_tidies(tmp_path):
    every = [shelf_cards.card(tmp_path / str(at), session=at) for at in range(1, 7)]
    shelf = tmp_path / "shelf"
    keep.keep(shelf, every[0], TOLD)

    def add(some):
        for one in some:
            keep.keep(shelf, one, TOLD)

    def tidy_often():
        for _ in range(12):
            tidy.tidy(shelf)

    context = get_context("fork")
    work = [
        context.Process(target=add, args=(every[1:4],)),
        context.Process(target=add, args=(every[3:],)),
        context.Process(target=tidy_often),
    ]
    for one in work:
        one.start()
    for one in work:
        one.join(HANG_S)
    assert [one.exitcode for one in work] == [0, 0, 0]
    assert sorted(whole(shelf)) == [f"63617231-{at}" for at in range(1, 7)]
    tidy.tidy(shelf)
    assert sorted(whole(shelf)) == [f"63617231-{at}" for at in range(1, 7)]


def test_what_was_left_lying_is_swept_when_it_is_old(tmp_path, cards, monkeypatch):
    shelf = tmp_path / "shelf"
    keep.keep(shelf, cards[1], TOLD)
    folder = Shelf(shelf).folder("cells", "hill")
    left = [folder / f".x_1.parquet.7{putting.ASIDE}", folder / "63617231-9_00000000.parquet"]
    for path in left:
        path.write_bytes(b"half")
    (one,) = tidy.tidy(shelf)
    assert one.removed == 0 and all(path.exists() for path in left)
    for path in left:
        os.utime(path, (1.0, 1.0))
    (one,) = tidy.tidy(shelf)
    assert one.removed == 2 and not any(path.exists() for path in left)
    assert whole(shelf) == {"63617231-1": blocks_in(cards[1])}
