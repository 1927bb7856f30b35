"""A browser, and reports of small drives to open in it. Without Chromium these tests are skipped and say so."""

import shutil
from contextlib import contextmanager

import pytest
from limits import HANG_S
from pages import CARD
from playwright.sync_api import sync_playwright

import ringpull
from ringpull.analysis.answer import answer
from ringpull.report import write_report

# What the browser shows around a page nobody sees, but a program of its own draws it for every page that is opened: it
# took half of the processor's time. A second list of features takes the place of the browser library's, so what that
# one leaves out for the sake of the same pages in every run is left out here too.
WITHOUT = (
    "WebUIOmniboxPopup",
    "WebUIOmniboxAimPopup",
    "AvoidUnnecessaryBeforeUnloadCheckSync",
    "DestroyProfileOnBrowserClose",
    "HttpsFirstBalancedModeAutoEnable",
    "HttpsUpgrades",
    "LensOverlay",
    "MediaRouter",
    "OptimizationHints",
    "PaintHolding",
    "ThirdPartyStoragePartitioning",
)


class PatientBrowser:
    """Chromium whose pages wait for what they are told to wait for, up to a hang."""

    def __init__(self, running):
        self._running = running

    def new_context(self, **options):
        context = self._running.new_context(**options)
        context.set_default_timeout(HANG_S * 1000)
        return context

    def new_page(self, **options):
        return self.new_context(**options).new_page()


@pytest.fixture(scope="session")
def browser():
    path = shutil.which("chromium")
    if not path:
        pytest.skip("chromium is not installed: apt-get install chromium")
    with sync_playwright() as started:
        running = started.chromium.launch(
            executable_path=path,
            args=["--no-sandbox", "--disable-gpu", "--disable-features=" + ",".join(WITHOUT)],
            timeout=HANG_S * 1000,
        )
        yield PatientBrowser(running)
        running.close()


@pytest.fixture(scope="session")
def drive():
    return ringpull.read(CARD)


@pytest.fixture(scope="session")
def found(drive):
    return answer(drive)


@pytest.fixture(scope="session")
def report(drive, found, tmp_path_factory):
    return write_report(drive, found, tmp_path_factory.mktemp("report") / "report.html")


@pytest.fixture
def opened(browser):
    """opened(path, **options of a browser context): a page whose samples are there. What went wrong on it is looked at
    when it is left: an error, a line on the console, or a request for anything but the file fails the test."""

    @contextmanager
    def open_page(path, ready=True, **options):
        context = browser.new_context(**{"viewport": {"width": 1280, "height": 800}, **options})
        page = context.new_page()
        wrong = []
        page.on("console", lambda message: wrong.append(message.text))
        page.on("pageerror", lambda error: wrong.append(str(error)))
        page.on("request", lambda one: None if one.url == path.as_uri() else wrong.append(one.url))
        page.goto(path.as_uri())
        if ready:
            page.wait_for_selector("#panels[data-ready]")
        yield page
        context.close()
        assert wrong == []

    return open_page
