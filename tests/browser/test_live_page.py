"""The live page in a browser, beside the real firmware: values, a marked pull and its verdict, a cable that comes out
and goes in again."""

import threading
from contextlib import contextmanager

import limits
import pytest
from pages import AXE, until
from truth.cable_desk import desk, linked
from truth.profile import Profile
from truth.signals import Signals, Tach

from ringpull.cable import link as links
from ringpull.cable.page.feed import Feed
from ringpull.cable.page.follower import Follower
from ringpull.cable.page.server import Server

END_S = 600.0
NASTY = '"><img src=x onerror=alert(1)>&amp;'
PACE = 6  # times the clock
SPEED = Profile([(0, 2500), (2.5, 2500), (5.5, 6500), (7, 2300), (END_S, 2300)])
LAMBDA = Profile([(0, 0.95), (2.4, 0.85), (3.6, 0.85), (3.8, 0.97), (4.8, 0.97), (5.0, 0.85), (END_S, 0.95)])
PRESSURE = Profile([(0, 50), (2.4, 50), (2.5, 190), (5.5, 190), (5.7, 40), (END_S, 40)])
TARGET = {"load": "map", "load_kpa": [40, 200], "lambda": [1.0, 0.85]}


@pytest.fixture
def logger(tmp_path):
    signals = Signals(
        SPEED,
        Tach(2),
        {"lambda_1": LAMBDA, "map": PRESSURE, "battery": Profile([(0, 13.8), (END_S, 13.8)])},
        presses_s=[2.5, 5.6],
        overrides={"battery": {"label": NASTY}},
        top={"target": TARGET, "vehicle": {"name": NASTY}},
    )
    with desk(tmp_path, signals, END_S, paced=PACE) as running:
        linked(running).close()
        yield running


@contextmanager
def served(follower):
    server = Server(follower)
    follower.start()
    threading.Thread(target=server.serve_forever, args=(0.05,), daemon=True).start()
    try:
        yield server
    finally:
        follower.stop()
        server.shutdown()
        server.server_close()


def faults(page):
    """What axe-core finds wrong."""
    told = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
    return [(v["impact"], v["id"], [n["target"] for n in v["nodes"]][:3]) for v in told["violations"]]


def figure(page, nth):
    return page.locator(".figure").nth(nth).inner_text()


def test_values_and_a_judged_pull(browser, logger, tmp_path):
    wrong = []
    with served(Follower(Feed(), lambda: links.connect(logger.port), tmp_path / "card", 10)) as server:
        context = browser.new_context(viewport={"width": 1400, "height": 900}, bypass_csp=True)
        page = context.new_page()
        page.on("console", lambda message: wrong.append(message.text))
        page.on("pageerror", lambda error: wrong.append(str(error)))
        page.goto(server.url)
        until(page, "document.querySelectorAll('.figure').length === 4")
        until(page, "document.querySelector('.card.lean')?.innerText.includes('1 lean event')")
        until(page, "document.querySelector('.verdict')?.innerText.includes('Attention')")
        until(page, "document.getElementById('banner').dataset.state === 'recording'")
        assert abs(float(figure(page, 1)) - 2300) < 30
        assert "wanted" in page.inner_text(".off") and page.locator("#lines canvas").count() == 4
        assert page.locator("img").count() == 0 and NASTY in page.inner_text("#vehicle")
        page.add_script_tag(content=AXE.read_text())
        assert faults(page) == []
        page.select_option("#unit-mixture", "afr")
        until(page, "Number(document.querySelector('.figure').textContent) > 10")
        page.set_viewport_size({"width": 390, "height": 844})
        page.emulate_media(color_scheme="dark")
        assert faults(page) == []
        assert page.evaluate("document.documentElement.scrollWidth") == 390
        with context.expect_page() as opening:
            page.click("text=The whole report")
        opening.value.wait_for_selector("#panels[data-ready]")
        opening.value.close()

        logger.pull()
        until(page, "document.getElementById('banner').textContent.startsWith('No values')")
        assert figure(page, 0) == "–"
        logger.plug()
        until(page, "document.getElementById('banner').dataset.state === 'recording'")
        until(page, "document.querySelector('.figure').textContent !== '–'")
        assert page.locator(".card").count() == 1 and wrong == []
    until(page, "document.getElementById('banner').textContent.startsWith('The command has ended')")
    context.close()


class Told:
    """In a follower's place: says what the test says."""

    report = None

    def __init__(self):
        self.feed = Feed()

    def start(self):
        pass

    def stop(self):
        self.feed.end()


NAMES = ("bank 1", "bank 2", "engine speed", "manifold", *(f"channel {n}" for n in range(8)))
UNITS = ("", "", "rpm", "kPa", "%", "kPa", "V", "degC", "degC", "ms", "%", "km/h")
ROLES = ("lambda", "lambda", "speed", *("" for _ in range(9)))
COLUMNS = [
    {"column": name, "channel": name, "label": name, "unit": unit, "role": role}
    for name, unit, role in zip(NAMES, UNITS, ROLES, strict=True)
]
FUEL = {"name": "petrol", "stoich_afr": 14.7}
ABOUT = {"session": 7, "vehicle": "", "columns": COLUMNS, "load": 3, "fuel": FUEL}
VALUES = [0.871, 0.912, 5120.0, 186.4, 98.2, 402.0, 13.81, 91.0, 34.5, 11.2, 71.0, 121.0]


def reading(time_s, **more):
    usual = {"states": {}, "target": 0.86, "pull": 0, "lean": False, "fault": "", "lost": 0, "values": VALUES}
    return {"time_s": time_s, **usual, **more}


def test_what_the_banner_says(browser):
    """Of a made-up logger with two banks and twelve channels."""
    follower = Told()
    feed = follower.feed
    with served(follower) as server:
        page = browser.new_page(viewport={"width": 1400, "height": 900})
        page.goto(server.url)
        assert page.inner_text("#banner") == "waiting for the logger"
        feed.begin(ABOUT)
        for n in range(40):
            feed.add(reading(n / 10))
        until(page, "document.querySelectorAll('.figure').length === 12")
        assert page.locator(".mixture .figure").all_inner_texts() == ["0.871", "0.912"]
        assert page.locator(".off").all_inner_texts() == ["0.011 leaner (wanted 0.860)", "0.052 leaner (wanted 0.860)"]

        def says(state, words, **more):
            time_s = [4.0]

            def once():
                time_s[0] += 0.1
                feed.add(reading(time_s[0], **more))
                return page.get_attribute("#banner", "data-state") == state and words in page.inner_text("#banner")

            limits.until(once, words)

        says("recording", "recording")
        says("pull", "pull 3 is being marked", pull=3)
        says("lean", "LEAN", pull=3, lean=True)
        says("fault", "There is no card", fault="There is no card")
        says("recording", "recording", values=[None, *VALUES[1:]], states={"bank 1": "heating"}, target=None)
        assert page.locator(".mixture .figure").all_inner_texts() == ["heating", "0.912"]
        assert page.locator(".off").all_inner_texts() == ["outside the sensor's range", "no target here"]
        assert "bank 1, bank 2 (dashed)" in page.inner_text("#lines")
        feed.trouble(["/dev/x went away", "the cable was pulled", "plug it in"])
        until(page, "document.getElementById('banner').textContent.startsWith('No values: /dev/x went away')")
        assert set(page.locator(".figure").all_inner_texts()) == {"–"}
        feed.begin(ABOUT | {"session": 8})
        says("recording", "recording")
        assert "session 8" in page.inner_text("#facts")
        until(page, "document.getElementById('banner').dataset.state === 'trouble'")  # nothing comes for a moment
        page.context.close()


def test_strangers_are_refused():
    """The address without its token, and another page's request, get nothing."""
    import http.client

    with served(Told()) as server:
        for path, head in (("/", {}), ("/news", {}), ("/report", {}), ("/news", {"Cookie": "ringpull_1=x"})):
            asked = http.client.HTTPConnection("127.0.0.1", server.server_port)
            asked.request("GET", path, headers=head)
            assert asked.getresponse().status == 403
            asked.close()
