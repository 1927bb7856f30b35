"""The local page in a browser: keys, zoom by drag, dropped files, hostile texts, and for everybody."""

import base64
import shutil
import threading
from contextlib import contextmanager

import limits
import pytest
from pages import AXE, CARD, NASTY, serving, until
from ring_bytes import CONFIG, Ring

from ringpull.view import shelf
from ringpull.view.shelf import Shelved


@contextmanager
def page_of(server, browser, **options):
    """A page of the server; nothing may go wrong on it."""
    context = browser.new_context(**{"viewport": {"width": 1280, "height": 800}, **options})
    page = context.new_page()
    wrong = []
    page.on("console", lambda message: wrong.append(message.text))
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.on(
        "request",
        lambda one: None if one.url.startswith(server.url.partition("?")[0]) else wrong.append(one.url),
    )
    page.goto(server.url)
    page.wait_for_selector("#panels[data-ready]")
    until(page, "document.getElementById('reading').textContent.indexOf('reading') < 0")
    yield page
    context.close()
    assert wrong == []


@pytest.fixture
def view(browser):
    """view(*sources, **options): a page of a server of its own that shows them."""

    @contextmanager
    def open_view(*sources, **options):
        with serving(*sources) as server, page_of(server, browser, **options) as page:
            yield page

    return open_view


@pytest.fixture(scope="module")
def standing(tmp_path_factory):
    """A server that has read its card."""
    with serving(shutil.copytree(CARD, tmp_path_factory.mktemp("standing") / "card")) as server:
        server.shelf[0].wait()
        yield server


@pytest.fixture
def look(browser, standing):
    """look(**options): a page of that server, for tests that change nothing there."""
    return lambda **options: page_of(standing, browser, **options)


@pytest.fixture
def card(tmp_path):
    return shutil.copytree(CARD, tmp_path / "card")


def test_drag_and_keys_zoom(look):
    with look() as page:
        box = page.locator(".panel .u-over").first.bounding_box()
        page.mouse.move(box["x"] + box["width"] * 0.4, box["y"] + 30)
        page.mouse.down()
        page.mouse.move(box["x"] + box["width"] * 0.5, box["y"] + 30, steps=5)
        page.mouse.up()
        until(page, "traces.state.end - traces.state.start < 14")
        until(page, "traces.state.shown.period_s < 0.04")
        page.locator("#panels").focus()
        page.keyboard.press("+")
        until(page, "traces.state.end - traces.state.start < 7")
        for _ in range(3):
            page.keyboard.press("ArrowRight")
        until(page, "document.querySelector('.value').textContent !== ''")
        page.keyboard.press("0")
        until(page, "traces.state.end - traces.state.start > 130")
        reached = set()
        for _ in range(40):
            page.keyboard.press("Tab")
            reached.add(page.evaluate("document.activeElement.id"))
        assert {"drive", "window", "axis", "over", "export", "panels", "remark", "file"} <= reached


def test_file_dropped_on_the_page(view, card):
    ring = base64.b64encode((CARD / "pulls.rpl").read_bytes()).decode()
    drop = """([text, name]) => {
        const bytes = Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
        const carried = new DataTransfer();
        carried.items.add(new File([bytes], name));
        document.dispatchEvent(new DragEvent("drop", { dataTransfer: carried, bubbles: true, cancelable: true }));
    }"""
    with view(card) as page:
        page.evaluate(drop, [ring, "other.rpl"])
        page.wait_for_selector('#panels[data-ready="1/1"]')
        names = page.locator("#drive option").all_inner_texts()
        assert any(one.endswith(", other.rpl") for one in names) and len(set(names)) == 2


@pytest.mark.slow
def test_two_drives_side_by_side(view, card):
    with view(card, CARD.parent / "v1_unmarked") as page:
        until(page, "document.querySelectorAll('#over option').length === 7")
        page.select_option("#over", "1/1/2")
        until(page, "traces.state.overs.length === 1 && traces.state.overs[0].shown")
        assert "v1_unmarked, pull 2" in page.locator("#laid").inner_text()
        page.select_option("#axis", "speed")
        until(page, "traces.state.overs[0].shown.rows > 500 && traces.state.mode === 'speed'")


def test_export_button_gives_what_is_shown(look):
    with look() as page:
        page.select_option("#window", "2")
        until(page, "traces.state.end - traces.state.start < 11")
        with page.expect_download() as waiting:
            page.click("#export")
        lines = waiting.value.path().read_text().splitlines()
        assert lines[0].startswith("time_s,lambda_1,") and 1900 < len(lines) < 2100
        assert 55.9 < float(lines[1].split(",")[0]) < 56.1


def test_export_against_speed_gives_the_rows_that_are_shown(look):
    with look() as page:
        page.select_option("#window", "2")
        page.select_option("#axis", "speed")
        until(page, "traces.state.mode === 'speed'")
        page.locator("#panels").focus()
        page.keyboard.press("+")
        until(page, "traces.state.end - traces.state.start < 2600")
        low, high = page.evaluate("[traces.state.start, traces.state.end]")
        with page.expect_download() as waiting:
            page.click("#export")
        head, *lines = waiting.value.path().read_text().splitlines()
        rows = [dict(zip(head.split(","), line.split(","), strict=True)) for line in lines]
        assert len(rows) > 300 and all(57 <= float(row["time_s"]) <= 65.1 for row in rows)
        assert all(low <= float(row["engine_speed_rpm"]) <= high for row in rows)


def test_markup_in_every_text(view, tmp_path):
    channels = [one | {"label": NASTY[:60]} for one in CONFIG["channels"]]
    ring = Ring(
        settings=CONFIG | {"channels": channels, "vehicle": {"name": NASTY[:80]}, "customer": NASTY, "note": NASTY}
    )
    ring.setup()
    ring.numbered(0, 400)
    folder = tmp_path / "<img src=x onerror=alert(1)>"
    folder.mkdir()
    (folder / "drive.rpl").write_bytes(ring.data())
    with view(folder) as page:
        assert page.locator("img").count() == 0 and page.locator("script:not([type])").count() == 1
        assert NASTY[:20] in page.locator(".panel .head").first.text_content()
        page.locator("#panels").focus()
        page.keyboard.press("ArrowRight")
        until(page, "document.querySelector('.value').textContent !== ''")
        page.fill("#remark", NASTY)
        page.keyboard.press("Enter")
        page.wait_for_selector("#remarks li")
        assert page.locator("img").count() == 0 and page.title() != "owned"


def test_nothing_but_nan(view, tmp_path):
    """Every sensor off its range, the engine never turning."""
    ring = Ring()
    ring.setup()
    ring.rows(0, [ring.row(n, map=4095, lambda_1=4095, engine_speed=0) for n in range(300)])
    (tmp_path / "drive.rpl").write_bytes(ring.data())
    with view(tmp_path / "drive.rpl") as page:
        page.locator("#panels").focus()
        page.keyboard.press("ArrowRight")
        until(page, "document.querySelector('.value[data-column=\"engine_speed_rpm\"]').textContent === '–'")


def test_the_whole_report_is_a_link_away(look):
    with look() as page:
        until(page, "!document.getElementById('whole').hidden")
        page.click("#whole")
        page.wait_for_selector("#answer-word")
        page.wait_for_selector("#panels[data-ready]")
        assert "lambda 0.89 ± 0.02 where 0.79 was wanted" in page.locator(".sentence").first.inner_text()


@pytest.mark.parametrize("scheme", ["dark", pytest.param("light", marks=pytest.mark.slow)])
def test_axe_finds_nothing(look, scheme):
    with look(color_scheme=scheme, bypass_csp=True) as page:
        page.add_script_tag(content=AXE.read_text())
        told = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
        assert [(v["impact"], v["id"], [n["target"] for n in v["nodes"]][:3]) for v in told["violations"]] == []


@pytest.mark.parametrize("width", [320, 400])
def test_narrow_screens_do_not_scroll_sideways(look, width):
    with look(viewport={"width": width, "height": 800}) as page:
        assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_against_speed_every_row_of_the_pulls(look):
    with look() as page:
        page.evaluate("document.getElementById('limited').textContent = 'stale'")
        page.select_option("#axis", "speed")
        until(page, "traces.state.mode === 'speed' && traces.state.shown.rows > 4000")
        assert page.locator("#limited").inner_text() == ""
        assert page.evaluate("traces.state.shown.runs.length") >= 3


def test_closing_the_server_ends_the_reader(card):
    with serving(card) as server:
        process = server.shelf[0]._reader
    assert process.poll() is not None


def test_target_corrected_lambda_and_events_with_their_sentence(look):
    with look() as page:
        until(page, "traces.state.session.columns.some((one) => one.role === 'target')")
        roles = page.evaluate("traces.state.session.columns.map((one) => one.role)")
        assert roles.count("aligned") == 1 and roles.count("target") == 1
        page.wait_for_selector("#events li")
        said = page.locator("#events li").inner_text()
        assert said.startswith("▲1 pull 2") and "lambda 0.89 +/- 0.02 where 0.79 was wanted, about 13 % lean" in said
        page.locator("#events button").click()
        until(page, "document.querySelector('.value[data-column=\"lambda_aligned\"]').textContent !== ''")
        aligned, target = (
            float(page.locator(f'.value[data-column="{name}"]').inner_text())
            for name in ("lambda_aligned", "lambda_target")
        )
        assert page.input_value("#window") == "2" and aligned - target > 0.07
        height = page.evaluate("(() => { const { min, max } = traces.plotOf(0).scales.y; return max - min; })()")
        assert height == pytest.approx(0.3, abs=0.02)


def test_pulls_laid_over_are_read_at_the_cursor(look):
    with look() as page:
        page.select_option("#window", "2")
        page.select_option("#over", index=1)
        until(page, "traces.state.overs.length === 1 && traces.state.overs[0].shown")
        box = page.locator(".panel .u-over").nth(1).bounding_box()
        page.mouse.move(box["x"] + box["width"] * 0.5, box["y"] + 30)
        rows = "[...document.querySelectorAll('#beside tr')].map((one) => [...one.cells].map((c) => c.textContent))"
        until(page, f"{rows}.some((one) => one[0] === 'map' && /kPa/.test(one[2]))")
        told = {one[0]: one[1:] for one in page.evaluate(rows)}
        assert told[""] == ["this", "pull 1"]
        here, other = (float(one.split()[0]) for one in told["engine speed"])
        assert here != other and abs(here - other) < 400


def test_drives_are_named_by_vehicle_folder_and_remark_and_never_twice_alike(view, card, tmp_path):
    from ringpull.files.remarks import write_note

    twin = shutil.copytree(CARD, tmp_path / "later" / "card")
    write_note(twin, 2, "new pump")
    with view(card, twin, card) as page:
        until(page, "document.querySelectorAll('#drive option').length === 3")
        names = page.locator("#drive option").all_inner_texts()
        assert len(set(names)) == 3 and all("hill-climb car" in one and "session" not in one for one in names)
        assert "later/card" in names[1]


def test_a_remark_outlasts_an_answer_that_was_on_its_way(view, card, monkeypatch):
    """While a drive is being read, the page asks again and again; what it asked before the remark does not know it."""
    monkeypatch.setattr(Shelved, "done", property(lambda _: False, lambda *_: None), raising=False)
    held = []  # requests for what changes, the first with its answer

    def hold(route):
        held.append((route, None if held else route.fetch()))

    with view(card) as page:
        page.route("**/state", hold)
        page.locator("#panels").focus()
        page.keyboard.press("Shift+ArrowRight")
        page.locator("#remark").fill("stumbled")
        limits.until(lambda: page.evaluate("1") and held, "no question")
        with page.expect_response("**/remark"):
            page.locator("#keep button").click()
        until(page, "document.querySelectorAll('#remarks li').length === 1")
        (first, answer), *_ = held
        first.fulfill(response=answer)
        limits.until(lambda: page.evaluate("1") and len(held) == 2, "no further question")
        assert page.locator("#remarks li").count() == 1
        held[1][0].continue_()
        page.unroute("**/state")


def test_the_cursor_stays_when_a_drive_being_read_gets_more_columns(view, card, monkeypatch):
    """The judgement adds columns when it is done, and the traces are built anew: at the same time and window."""
    judged, messages = threading.Event(), shelf.reader.messages

    def held(process):
        for told in messages(process):
            if told[0] == "judged":
                assert judged.wait(limits.HANG_S)
            yield told

    monkeypatch.setattr(shelf.reader, "messages", held)
    with view(card) as page:
        columns = page.evaluate("traces.state.session.columns.length")
        page.locator("#panels").focus()
        for key in ("+", "Shift+ArrowRight", "Shift+ArrowRight", "ArrowRight"):
            page.keyboard.press(key)
        value = "document.querySelector('.value[data-column=\"engine_speed_rpm\"]').textContent"
        until(page, f"traces.state.index > 0 && {value} !== '' && traces.state.end - traces.state.start < 100")
        kept = "[traces.state.time, traces.state.start, traces.state.end]"
        before = page.evaluate(kept)
        judged.set()
        until(page, f"traces.state.session.columns.length > {columns}")
        assert page.evaluate("traces.state.index") >= 0 and page.evaluate(value) != ""
        assert page.evaluate(kept) == before
        page.fill("#remark", "here")
        page.keyboard.press("Enter")
        page.wait_for_selector("#remarks li")
        assert page.locator("#remarks li button").inner_text() == f"{before[0]:.2f} s"
        page.locator("#panels").focus()
        page.keyboard.press("ArrowRight")
        until(page, f"traces.state.time > {before[0]}")
        assert page.evaluate("traces.state.time") < before[0] + 0.1 * (before[2] - before[1])


def test_remarks_of_note_and_page_are_the_same_and_reach_the_report(view, card, tmp_path, capsys):
    from ringpull.cli.main import main

    assert main(["note", str(card), "2", "new pump"]) == 0
    with view(card) as page:
        page.wait_for_selector("#remarks li")
        assert "pull 2: new pump" in page.locator("#remarks").inner_text()
        page.select_option("#window", "2")
        page.locator("#panels").focus()
        for _ in range(2):
            page.keyboard.press("Shift+ArrowRight")
        page.locator("#remark").fill("stumbled")
        page.locator("#keep button").click()
        until(page, "document.querySelectorAll('#remarks li').length === 2")
    capsys.readouterr()
    assert main(["pulls", str(card)]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "note: new pump" in out
    path = tmp_path / "report.html"
    assert main(["report", str(card), "-o", str(path)]) == 0
    text = path.read_text()
    assert "note: new pump" in text and "stumbled" in text
