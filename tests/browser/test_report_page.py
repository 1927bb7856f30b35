"""The report in a browser: what it shows is what the decoded table holds, and everything on it works."""

import re

import numpy as np
import pytest
from pages import until

from ringpull.report.words import DASH

PLACES = 50


def box_of(page, nth=0):
    return page.locator(".panel .u-over").nth(nth).bounding_box()


def window_of(page):
    return [
        tuple(float(v) for v in pair)
        for pair in page.eval_on_selector_all(".panel", "all => all.map(one => [one.dataset.start, one.dataset.end])")
    ]


def settled(page):
    """Wait until every panel has been drawn, those off the screen too."""
    until(
        page,
        """() => {
            const root = document.getElementById("panels");
            return [...root.children].every((one) => one.dataset.start === root.dataset.start &&
                                                     one.dataset.end === root.dataset.end);
        }""",
    )


def shown(page):
    """Column -> number that the cursor shows (None for a dash)."""
    pairs = page.eval_on_selector_all(".panel .value", "all => all.map(one => [one.dataset.column, one.textContent])")
    return {name: None if text == DASH else float(re.match(r"-?[\d.]+", text)[0]) for name, text in pairs}


def test_answer_is_there_without_scrolling(report, opened):
    with opened(report) as page:
        for words in ("Pull 2 was lean", "What to do next", "Do no more full-throttle pulls", "Possible cause"):
            place = page.get_by_text(words).first.bounding_box()
            assert place["y"] + place["height"] <= 800, words
        sentence = page.locator(".sentence").first.inner_text()
        assert re.search(
            r"\+0\.\d\d\d ± 0\.0\d\d \(random\) ± 0\.0\d\d \(systematic\) "
            r"lambda against target 0\.\d\d, at 5\d\d\d rpm",
            sentence,
        )


@pytest.mark.parametrize("zoomed", [False, True], ids=["whole", "zoomed"])
def test_cursor_shows_the_decoded_table(report, opened, drive, zoomed):
    session = drive.sessions[0]
    frame = session.frame()
    times = frame["time_s"].to_numpy()
    digits = {"lambda_1": 3, "engine_speed_rpm": 0, "map_kpa": 1, "throttle_pct": 1, "battery_v": 2}
    with opened(report) as page:
        if zoomed:
            page.select_option("#window", "2")
            settled(page)
        page.locator(".panel").first.scroll_into_view_if_needed()
        box = box_of(page)
        start, end = window_of(page)[0]
        checked = 0
        for fraction in np.random.default_rng(6).uniform(0.01, 0.99, PLACES):
            x = box["x"] + round(fraction * box["width"])
            page.mouse.move(x, box["y"] + 20)
            at = start + (x - box["x"]) / box["width"] * (end - start)
            # the mouse stands on whole pixels: the row may be any within a pixel
            near = np.flatnonzero(np.abs(times - at) <= (end - start) / box["width"] + session.period_s)
            values = shown(page)
            row = int(page.get_attribute("#panels", "data-index"))
            assert near[0] <= row <= near[-1]
            for name, places in digits.items():
                true = frame[name].iloc[row]
                if np.isnan(true):
                    assert values[name] is None
                else:
                    assert values[name] == pytest.approx(
                        true, abs=0.5001 * 10**-places + 0.2 * (name == "engine_speed_rpm")
                    )
                    checked += 1
        assert checked > 4 * PLACES


def test_zoom_by_drag_keeps_the_panels_in_step(report, opened):
    with opened(report) as page:
        page.locator(".panel").first.scroll_into_view_if_needed()
        box = box_of(page, 1)
        before = window_of(page)[0]
        page.mouse.move(box["x"] + 0.25 * box["width"], box["y"] + 30)
        page.mouse.down()
        page.mouse.move(box["x"] + 0.5 * box["width"], box["y"] + 40, steps=5)
        page.mouse.up()
        settled(page)
        after = window_of(page)
        assert len(after) == 6 and len(set(after)) == 1
        size = before[1] - before[0]
        assert after[0] == pytest.approx((before[0] + 0.25 * size, before[0] + 0.5 * size), abs=0.01 * size)
        left = page.eval_on_selector_all(".u-select", "all => all.map(one => one.offsetWidth)")
        assert max(left) <= 1  # no panel keeps a box of the selection
        page.mouse.dblclick(box["x"] + 50, box["y"] + 30)
        settled(page)
        assert set(window_of(page)) == {before}


def test_switch_to_engine_speed_moves_every_panel(report, opened, drive):
    frame = drive.sessions[0].frame()
    with opened(report) as page:
        page.select_option("#axis", "speed")
        settled(page)
        windows = window_of(page)
        assert len(set(windows)) == 1 and 400 < windows[0][0] < 2500 and 6900 < windows[0][1] < 7200
        page.locator(".panel").first.scroll_into_view_if_needed()
        box = box_of(page)
        page.mouse.move(box["x"] + box["width"] / 2, box["y"] + 20)
        row = int(page.get_attribute("#panels", "data-index"))
        middle = sum(windows[0]) / 2
        assert frame["engine_speed_rpm"].iloc[row] == pytest.approx(
            middle, abs=(windows[0][1] - windows[0][0]) / box["width"] + 5
        )
        assert shown(page)["map_kpa"] == pytest.approx(frame["map_kpa"].iloc[row], abs=0.06)


def numbers_of(page, kind):
    return page.eval_on_selector_all(
        f'.q[data-q="{kind}"]', "all => all.map(one => [Number(one.dataset.v), one.textContent])"
    )


@pytest.mark.parametrize(
    ("chooser", "unit", "kind", "formula"),
    [
        ("mixture", "afr", "lambda", lambda v, stoich: v * stoich),
        ("mixture", "phi", "lambda", lambda v, stoich: 1 / v),
        ("pressure", "bar", "pressure", lambda v, stoich: v / 100),
        ("pressure", "psi", "pressure", lambda v, stoich: v / 6.894757),
    ],
)
def test_units_change_every_number(report, opened, drive, chooser, unit, kind, formula):
    from shared_math import mixture

    stoich = mixture.fuel(drive.sessions[0].config["fuel"])["stoich_afr"]
    with opened(report) as page:
        before = numbers_of(page, kind)
        page.locator(".panel").first.scroll_into_view_if_needed()
        box = box_of(page)
        page.mouse.move(box["x"] + box["width"] * 0.45, box["y"] + 20)
        cursor = shown(page)
        page.select_option(f"#unit-{chooser}", unit)
        after = numbers_of(page, kind)
        assert len(after) == len(before) > 10
        for value, text in after:
            figure = re.match(r"[+-]?[\d.]+", text)[0]
            places = len(figure.partition(".")[2])
            assert float(figure) == pytest.approx(formula(value, stoich), abs=0.501 * 10**-places)
        changed = shown(page)
        name = "lambda_1" if kind == "lambda" else "map_kpa"
        assert changed[name] == pytest.approx(formula(cursor[name], stoich), rel=0.01)
        page.select_option(f"#unit-{chooser}", "lambda" if chooser == "mixture" else "kPa")
        assert numbers_of(page, kind) == before


def test_no_number_keeps_the_other_unit(report, opened):
    """With bar chosen no kilopascal is left anywhere, and so on; what is only said in lambda says so."""
    with opened(report) as page:
        page.locator(".cell").nth(3).focus()
        for chooser, unit, other in (("pressure", "bar", "kPa"), ("temperature", "degF", "°C")):
            page.select_option(f"#unit-{chooser}", unit)
            assert other not in page.locator("main").inner_text()
            labels = page.eval_on_selector_all("[aria-label]", "all => all.map((one) => one.ariaLabel)")
            assert not [words for words in labels if other in words]
        assert "bar: measured over target" in page.locator("#map-cell").inner_text()
        page.select_option("#unit-mixture", "afr")
        for line in page.locator("#answer li, #method li").all_inner_texts():
            assert not re.search(r"\b0\.[789]\d(?!\d*\sbar)", line)
        assert "in lambda" in page.locator("#method .in-lambda").first.evaluate(
            "one => getComputedStyle(one, '::after').content"
        )


def test_keyboard_alone(report, opened):
    with opened(report) as page:
        reached = set()
        for _ in range(60):
            page.keyboard.press("Tab")
            reached.add(page.evaluate("document.activeElement.id || document.activeElement.className"))
        assert {"unit-mixture", "unit-pressure", "go", "window", "axis", "panels"} <= reached
        page.locator("#panels").focus()
        page.keyboard.press("ArrowRight")
        first = int(page.get_attribute("#panels", "data-index"))
        page.keyboard.press("Shift+ArrowRight")
        assert int(page.get_attribute("#panels", "data-index")) == first + 20
        whole = window_of(page)[0]
        page.keyboard.press("+")
        settled(page)
        half = window_of(page)[0]
        assert half[1] - half[0] == pytest.approx((whole[1] - whole[0]) / 2, rel=0.01)
        page.keyboard.press("0")
        settled(page)
        assert window_of(page)[0] == whole


def test_map_cells_by_arrow_keys(report, opened):
    with opened(report) as page:
        page.locator('.cell[tabindex="0"]').focus()
        told = [page.locator("#map-cell").inner_text()]
        for key in ("ArrowRight", "ArrowDown", "ArrowLeft"):
            page.keyboard.press(key)
            told.append(page.locator("#map-cell").inner_text())
        assert len(set(told)) > 1 and all("measured over target" in line for line in told)


def test_card_leads_to_its_pull(report, opened, found):
    with opened(report) as page:
        page.locator('button.go[data-pull="2"]').click()
        settled(page)
        start, end = window_of(page)[0]
        pull = found.pulls[1].pull
        assert (start, end) == pytest.approx((pull.start_s - 1, pull.end_s + 1), abs=0.01)


@pytest.mark.parametrize("width", [320, 390, 760])
def test_narrow_screens_do_not_scroll_sideways(report, opened, width):
    with opened(report, viewport={"width": width, "height": 800}) as page:
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        for box in (one.bounding_box() for one in page.locator("button.go").all()):
            assert box["height"] >= 40


def test_curve_and_map_fit_a_phone(report, opened):
    with opened(report, viewport={"width": 400, "height": 800}) as page:
        shown = page.locator("svg.curve:visible")
        assert shown.count() == 1
        for part in (shown, shown.locator(".lean-mark text"), shown.get_by_text("pull 3"), page.locator("table.map")):
            box = part.bounding_box()
            assert 0 <= box["x"] and box["x"] + box["width"] <= 400
        assert page.locator("svg.curve:visible text").first.evaluate("one => one.getBoundingClientRect().height") >= 11
        assert page.locator("#map-how").bounding_box()["width"] <= 400


def test_undone_lambda_is_drawn_where_the_sensor_measured(found, drive):
    from ringpull.report.data import judged_columns

    times = drive.sessions[0].table()["time_s"]
    judged = found.pulls[0].judged
    shown = judged_columns(judged, times)["lambda_aligned"]
    assert np.nanmax(shown) <= 1.4 and np.nanmax(judged.lambda_aligned) > 1.5
    assert np.isfinite(shown[(times > 31) & (times < 36)]).all()


def test_print_is_whole(report, opened, found):
    with opened(report, viewport={"width": 700, "height": 1000}) as page:
        page.emulate_media(media="print", color_scheme="dark")
        assert page.evaluate("document.documentElement.scrollWidth") <= 700
        for words in ("customer", "date", "operator", "conditions", "note"):
            assert page.locator(".facts dt", has_text=words).is_visible()
        page.evaluate("dispatchEvent(new Event('beforeprint'))")
        assert not page.locator(".tools").is_visible() and not page.locator("nav").is_visible()
        assert page.evaluate("getComputedStyle(document.documentElement).backgroundColor") == "rgb(255, 255, 255)"
        edge = page.evaluate("document.body.getBoundingClientRect().right")
        rights = page.eval_on_selector_all("canvas", "all => all.map(one => one.getBoundingClientRect().right)")
        assert rights and max(rights) <= edge + 1
        paper = page.pdf(prefer_css_page_size=True)
        assert paper.startswith(b"%PDF") and len(re.findall(rb"/Type\s*/Page\b", paper)) <= 5


def test_first_printed_page_tells_before_and_after(drive, found, opened, tmp_path):
    from pages import ROOT

    import ringpull
    from ringpull.analysis.answer import answer
    from ringpull.analysis.cells import drive_comparison
    from ringpull.analysis.cells.drive_comparison import Side
    from ringpull.report import write_report
    from ringpull.report.against import Against

    before = ringpull.read(ROOT / "demo_logs" / "v1_pulls_alone")
    path = write_report(
        drive,
        found,
        tmp_path / "report.html",
        Against(before, answer(before), drive_comparison.of_mixture(Side(before), Side(drive))),
    )
    with opened(path, viewport={"width": 794, "height": 1123}) as page:
        page.emulate_media(media="print")
        for words in (
            "Attention",
            "Before and after",
            "Before (v1_pulls_alone)",
            "Not tested",
            "operator",
            "conditions",
        ):
            place = page.locator(f":text('{words}'):visible").first.bounding_box()
            assert place["y"] + place["height"] < 1000, words
        assert page.locator("#compare svg.curve:visible").count() == 1
        assert page.locator("#compare tbody tr").count() > 3
