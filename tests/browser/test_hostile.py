"""Texts and drives that want to break the page: they change nothing but text."""

import json
import shutil
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from pages import NASTY

import ringpull
from ringpull.analysis.answer import Answer, PullAnswer
from ringpull.analysis.delay import transport
from ringpull.analysis.judge.reasons import Assumed, Assumption, Reason, Why
from ringpull.files.configuration import Configuration, Vehicle
from ringpull.report import write_report


class Session:
    """A session with other channels, other values or another configuration."""

    def __init__(self, real, **other):
        self.real, self.other = real, other

    def __getattr__(self, name):
        return self.other[name] if name in self.other else getattr(self.real, name)

    @property
    def awake(self):
        return self

    def table(self):
        return self.other.get("rows", self.real.table())


def stand_in(real, folder, sessions):
    return SimpleNamespace(
        source=folder,
        sessions=sessions,
        blocks=real.blocks,
        damage=real.damage,
        older_ring=real.older_ring,
        before_utc=lambda _session: None,
        views=getattr(real, "views", list),
        pulls=getattr(real, "pulls", list),
    )


def still_works(page):
    """The traces answer to keys, and no text became an element."""
    assert page.locator("img").count() == 0
    assert "owned" not in page.title() or "<script>" in page.title()
    page.locator("#panels").focus()
    page.keyboard.press("ArrowRight")
    assert page.get_attribute("#panels", "data-index") is not None


def test_markup_in_every_text(drive, found, opened, tmp_path):
    card = tmp_path / "card"
    card.mkdir()
    (card / "notes.json").write_text(json.dumps({"1": NASTY, "2": "<b>bold</b>"}))
    real = drive.sessions[0]
    channels = [replace(c, label=NASTY, unit=c.unit and NASTY) for c in real.channels]
    config = replace(real.config, vehicle=Vehicle(name=NASTY), customer=NASTY, note=NASTY)
    session = Session(real, channels=channels, config=config, firmware=NASTY, board=NASTY, start_utc=NASTY)
    nasty = replace(
        found,
        reasons=[Reason(Why.BLIND, 1, values={"banks": (NASTY,)}), *found.reasons],
        assumptions=[Assumption(Assumed.DELAY, {"bank": NASTY, "source": transport.default(Configuration()).source})],
        left_out={NASTY: 1.0},
        alignment=found.alignment | {"source": NASTY},
    )
    with opened(write_report(stand_in(drive, card, [session]), nasty, tmp_path / "report.html")) as page:
        still_works(page)
        assert page.evaluate("document.scripts.length") == 4  # what is known, the samples, those undone, the program
        assert NASTY.rstrip("\u2028") in page.locator(".vehicle").text_content()
        assert NASTY.rstrip("\u2028") in page.locator("#pull-1 .note").text_content()
        assert page.locator("#pull-2 .note b").count() == 0
        assert NASTY.rstrip("\u2028") in page.locator(".panel .head").first.text_content()


def test_no_pulls(drive, found, opened, tmp_path):
    none = Answer("not enough data", [Reason(Why.NO_PULL)], [], {}, {}, [])
    with opened(write_report(stand_in(drive, tmp_path, drive.sessions), none, tmp_path / "report.html")) as page:
        still_works(page)
        assert page.locator("#answer-word").inner_text().endswith("Not enough data")
        page.select_option("#axis", "speed")
        assert page.locator("#panels").get_attribute("data-mode") == "speed"


@pytest.mark.parametrize("count", [300, pytest.param(5000, marks=pytest.mark.slow)])
def test_thousands_of_pulls(drive, found, opened, tmp_path, count):
    def copy(number):
        first = found.pulls[number % 3]
        return PullAnswer(replace(first.pull, number=number), first.numbers, first.judged)

    many = replace(found, pulls=[copy(n) for n in range(1, count + 1)])
    path = write_report(stand_in(drive, tmp_path, drive.sessions), many, tmp_path / "report.html")
    assert path.stat().st_size < 16e6
    with opened(path) as page:
        still_works(page)
        assert page.locator(".card").count() == 24
        assert page.locator("#pulls details tbody tr").count() == count - 24
        assert page.locator("#window option").count() == count + 1


def test_nothing_but_nan(drive, found, opened, tmp_path):
    real = drive.sessions[0]
    rows = dict(real.table())
    for channel in real.channels:
        rows[channel.column] = np.full_like(rows["time_s"], np.nan)
    none = Answer("not enough data", [Reason(Why.MISSING, values={"roles": ("lambda", "rpm")})], [], {}, {}, [])
    path = write_report(stand_in(drive, tmp_path, [Session(real, rows=rows)]), none, tmp_path / "report.html")
    with opened(path) as page:
        still_works(page)
        assert set(page.locator(".panel .value").all_inner_texts()) == {"–"}


SLOWER = [pytest.param(log, marks=pytest.mark.slow) for log in ("v1_marked", "v1_unmarked", "v1_spoiled")]


@pytest.mark.parametrize("log", ["v1_pulls_alone", *SLOWER])
def test_every_demo_log(log, opened, tmp_path):
    from pages import ROOT

    from ringpull.analysis.answer import answer

    card = tmp_path / log
    shutil.copytree(ROOT / "demo_logs" / log, card)
    drive = ringpull.read(card)
    with opened(write_report(drive, answer(drive), tmp_path / "report.html")) as page:
        still_works(page)
        for number in range(1, 4):
            page.select_option("#window", str(number))
