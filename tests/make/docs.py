"""`make docs`: pictures taken of what the program makes, and the pages that are written from the sources."""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
import threading
from pathlib import Path

from tests.make import car_values, glove_box, mip_package, reference, screens

ROOT = Path(__file__).resolve().parents[2]
FOLDER = ROOT / "host" / "docs"

# picture -> (width, height, what is scrolled to; the whole page as printed for "print")
PICTURES = {
    "report.png": (1400, 900, ""),
    "report-map.png": (1280, 800, "#map"),
    "report-traces.png": (1400, 1110, "#traces"),
    "report-phone.png": (390, 844, ""),
    "report-print.png": (794, 1123, "print"),
}
VIEW = "view.png"


def photograph(page: Path) -> None:
    """All pictures of a report."""
    from playwright.sync_api import sync_playwright

    browser = shutil.which("chromium")
    if not browser:
        sys.exit("The pictures need the browser: apt-get install chromium")
    with sync_playwright() as started:
        running = started.chromium.launch(executable_path=browser, args=["--no-sandbox", "--disable-gpu"])
        for name, (width, height, place) in PICTURES.items():
            shown = running.new_page(viewport={"width": width, "height": height}, reduced_motion="reduce")
            shown.goto(page.as_uri())
            shown.wait_for_selector("#panels[data-ready]")
            if place == "print":
                shown.emulate_media(media="print")
                shown.evaluate("document.body.style.margin = '14mm'")  # the paper's own, which a screenshot lacks
                shown.evaluate("dispatchEvent(new Event('beforeprint'))")
            elif place:
                shown.locator(place).evaluate("one => one.scrollIntoView()")
            shown.wait_for_timeout(400)
            shown.screenshot(path=FOLDER / name)
            shown.close()
        photograph_view(running, page.parent / "card")
        running.close()


def photograph_view(browser, card: Path) -> None:
    """The local page with two pulls laid over a third."""
    from ringpull.view.server import Server
    from ringpull.view.shelf import Shelved

    one = Shelved(card)
    server = Server([one])
    one.start()
    threading.Thread(target=server.serve_forever, daemon=True).start()
    one.wait()
    shown = browser.new_page(viewport={"width": 1280, "height": 1230}, reduced_motion="reduce")
    shown.goto(server.url)
    shown.wait_for_selector("#panels[data-ready]")
    shown.wait_for_selector("#whole:not([hidden])")
    shown.select_option("#window", "2")
    for number in (1, 3):
        shown.select_option("#over", f"0/1/{number}")
    shown.wait_for_timeout(800)
    shown.screenshot(path=FOLDER / VIEW)
    shown.close()
    server.shutdown()
    server.server_close()


SCREENS = ("driving", "pull", "lean", "curve")


def screen_sheet() -> None:
    """The logger's own screen, on the demo's drive."""
    with tempfile.TemporaryDirectory() as folder:
        frames = screens.shoot(Path(folder), {name: screens.MOMENTS[name] for name in SCREENS})
    (FOLDER / "screens.png").write_bytes(screens.sheet([frames[name] for name in SCREENS], 2))


def main() -> int:
    FOLDER.mkdir(parents=True, exist_ok=True)
    reference.PAGE.write_text(reference.page(), encoding="utf-8")
    car_values.write()
    glove_box.write()
    mip_package.write()
    screen_sheet()
    with tempfile.TemporaryDirectory() as folder:
        subprocess.run([sys.executable, "-m", "ringpull", "demo", "-o", folder], check=True, stdout=subprocess.DEVNULL)
        photograph(Path(folder) / "report.html")
    subprocess.run([sys.executable, str(ROOT / "tests" / "laws" / "readme_table.py")], check=True)
    print(*(f"host/docs/{name}" for name in (*PICTURES, VIEW, "screens.png")), sep="\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
