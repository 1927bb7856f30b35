"""The report in a browser: what it shows is what the decoded table holds, and everything on it works."""

import re
from dataclasses import replace

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


SCREENS = [(1400, 900), (390, 844)]


@pytest.mark.parametrize(("wide", "high"), SCREENS)
def test_answer_cause_and_picture_are_there_without_scrolling(report, opened, wide, high):
    with opened(report, viewport={"width": wide, "height": high}) as page:
        sentence = page.locator(".sentence").inner_text()
        assert re.fullmatch(
            r"\d{4}-\d{4}\srpm at 19\d\skPa: lambda 0\.\d\d ± 0\.0\d where 0\.\d\d was wanted, about \d+\s% lean, "
            r"in 1 of 3 pulls, 1\.\d\ss\.",
            sentence,
        )
        assert sentence.count("±") == 1
        curve = page.locator("svg.curve:visible")
        places = [page.locator(".sentence"), page.locator(".cause", has_text="Possible cause: fuel pressure"), curve]
        places += [curve.locator(".lean-mark text"), page.get_by_text("What to do next")]
        for place in places:
            box = place.bounding_box()
            assert box["y"] >= 0 and box["y"] + box["height"] <= high, place
        # the picture comes first: nothing of why, cautions and not tested stands above it
        assert page.locator("#why").bounding_box()["y"] > curve.bounding_box()["y"] + curve.bounding_box()["height"]
        if wide > 1000:
            steps = page.locator(".next li").all()
            assert len(steps) == 4 and all(one.bounding_box()["y"] < high - 40 for one in steps)


@pytest.mark.parametrize(("wide", "high"), SCREENS)
def test_a_contradicted_instrument_stays_on_the_first_screen(found, drive, opened, tmp_path, wide, high):
    import dataclasses

    from ringpull.analysis.instruments.records import Cause, Check, Instrument, contradicted
    from ringpull.analysis.judge.reasons import Reason, Why
    from ringpull.report import write_report

    finding = contradicted(Check.AMBIENT, Cause.GAUGE, kpa=2.0, seconds=3.0, around=float("nan"))
    doubt = Reason(Why.DOUBT, values={"instrument": Instrument("map", "map", None, (finding,))})
    hidden = {"mask": "tach_loss", "bank": None, "seconds": 0.4, "longest_s": 0.4, "rpm_from": 5e3, "rpm_to": 6e3}
    others = [Reason(Why.HIDDEN, pull, values=hidden | {"stretches": 1}) for pull in range(1, 9)]
    path = write_report(
        drive, dataclasses.replace(found, reasons=[*found.reasons, *others, doubt]), tmp_path / "r.html"
    )
    with opened(path, viewport={"width": wide, "height": high}) as page:
        box = page.locator(".doubts li", has_text="Map is contradicted").bounding_box()
        assert box["y"] + box["height"] <= high * 0.6
        assert page.locator(".doubts li").count() == 3 and page.locator("#why li", has_text="Pull 8").count() == 1


def test_one_pulls_uncertainty_is_drawn_and_another_can_be_chosen(report, opened):
    with opened(report) as page:
        shown = "svg.curve.wide .u-band:visible"
        assert page.locator(shown).count() == 1 and page.input_value("#of-pull") == "2"
        before = page.locator(shown).get_attribute("d")
        page.select_option("#of-pull", "1")
        assert page.locator(shown).count() == 1 and page.locator(shown).get_attribute("d") != before
        key, band = (page.locator(one).evaluate("one => one.style.fill") for one in ("#of-pull-key", shown))
        assert key == band


@pytest.mark.parametrize(("chooser", "unit"), [("mixture", "afr"), ("mixture", "lambda"), ("pressure", "psi")])
def test_ticks_are_even_in_every_unit(report, opened, chooser, unit):
    with opened(report) as page:
        page.select_option(f"#unit-{chooser}", unit)
        kind = {"mixture": "lambda", "pressure": "pressure"}[chooser]
        words = page.locator(f'svg.curve.wide .ticks[data-q="{kind}"] text').all_text_contents()
        column = {"mixture": "lambda", "pressure": "map_kpa"}[chooser]
        of_traces = page.evaluate(
            """(name) => {
                const nth = traces.state.session.columns.findIndex((one) => one.column === name);
                return units.ticksOf(traces.state.session.columns[nth], 0.74, nth ? 200 : 1.04, 5).map((one) => one[1]);
            }""",
            "lambda_1" if column == "lambda" else column,
        )
        for ticks in (words, of_traces):
            numbers = [float(one) for one in ticks]
            steps = np.diff(numbers)
            assert len(numbers) >= 2 and np.allclose(steps, steps[0])
            digit = float(f"{abs(steps[0]):e}".partition("e")[0])
            assert digit in (1.0, 2.0, 5.0)


def test_lambda_is_shown_around_its_target_and_all_of_it_on_demand(report, opened):
    with opened(report) as page:
        height = "(() => { const { min, max } = traces.plotOf(0).scales.y; return max - min; })()"
        assert page.evaluate(height) == pytest.approx(0.3, abs=0.02)  # a hole of 0.1 fills a third
        page.select_option("#height", "all")
        assert page.evaluate(height) > 0.5
        page.select_option("#height", "near")
        assert page.evaluate(height) == pytest.approx(0.3, abs=0.02)


def test_values_stand_beside_the_pointer_inside_the_window(report, opened):
    with opened(report, viewport={"width": 1400, "height": 900}) as page:
        page.locator("#traces").evaluate("one => one.scrollIntoView({behavior: 'instant'})")
        for nth in (0, 4):
            box = box_of(page, nth)
            for share in (0.02, 0.5, 0.98):
                page.mouse.move(box["x"] + share * box["width"], box["y"] + 60)
                until(page, "document.getElementById('beside').style.display === 'block'")
                beside = page.locator("#beside").bounding_box()
                assert beside["x"] >= 0 and beside["x"] + beside["width"] <= 1400
                assert beside["y"] >= 0 and beside["y"] + beside["height"] <= 900
                told = dict(
                    page.eval_on_selector_all(
                        "#beside tr", "all => all.map((one) => [...one.cells].map((c) => c.textContent))"
                    )
                )
                assert told["engine speed"] == page.locator('.value[data-column="engine_speed_rpm"]').inner_text()
        page.mouse.move(5, 5)
        until(page, "document.getElementById('beside').style.display === 'none'")


def test_the_axis_switched_and_back_keeps_the_pull(report, opened):
    with opened(report) as page:
        page.select_option("#window", "2")
        settled(page)
        before = window_of(page)[0]
        page.select_option("#axis", "speed")
        settled(page)
        page.select_option("#axis", "time")
        settled(page)
        assert page.input_value("#window") == "2" and window_of(page)[0] == before
        assert page.evaluate("traces.seen().spans") == [{"start_s": before[0], "end_s": before[1]}]
        page.locator("#panels").focus()
        page.keyboard.press("0")
        settled(page)
        assert page.input_value("#window") == "" and window_of(page)[0][1] > 130


def test_against_speed_overrun_is_faint_and_the_event_keeps_its_ground(report, opened):
    with opened(report) as page:
        page.evaluate(
            """() => {
                window.alphas = [];
                const paint = CanvasRenderingContext2D.prototype.fillRect;
                CanvasRenderingContext2D.prototype.fillRect = function (...box) {
                    alphas.push([this.globalAlpha, box[2], box[3]]);
                    return paint.apply(this, box);
                };
            }"""
        )
        page.select_option("#axis", "speed")
        settled(page)
        dots = page.evaluate("alphas.filter(([, wide, high]) => wide < 4 && high < 4).map(([alpha]) => alpha)")
        assert set(np.round(dots, 2)) == {0.16, 1.0} and 0.02 < np.mean(np.array(dots) < 0.5) < 0.5
        grounds = page.evaluate("alphas.filter(([, wide, high]) => wide > 20 && high > 60)")
        assert len(grounds) == 6  # in each panel


def test_the_title_tells_vehicle_and_note(drive, found, opened, tmp_path, monkeypatch):
    from ringpull.report import write_report

    session = drive.sessions[0]
    monkeypatch.setattr(session, "config", replace(session.config, note="new turbo"))
    with opened(write_report(drive, found, tmp_path / "r.html")) as page:
        assert page.title().startswith(session.config.vehicle.name) and ", new turbo: attention" in page.title()


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
        pytest.param("mixture", "phi", "lambda", lambda v, stoich: 1 / v, marks=pytest.mark.slow),
        pytest.param("pressure", "bar", "pressure", lambda v, stoich: v / 100, marks=pytest.mark.slow),
        ("pressure", "psi", "pressure", lambda v, stoich: v / 6.894757),
    ],
)
def test_units_change_every_number(report, opened, drive, chooser, unit, kind, formula):
    from shared_math import mixture

    stoich = mixture.fuel(drive.sessions[0].config.written["fuel"])["stoich_afr"]
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
            assert other not in " ".join(page.locator("main > section").all_inner_texts())
            labels = page.eval_on_selector_all("[aria-label]", "all => all.map((one) => one.ariaLabel)")
            assert not [words for words in labels if other in words]
        assert "bar: lambda over target" in page.locator("#map-cell").inner_text()
        page.select_option("#unit-mixture", "afr")
        for line in page.locator("#answer li, #why li, #method li").all_inner_texts():
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
        assert len(set(told)) > 1 and all("lambda over target" in line for line in told)


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
        assert paper.startswith(b"%PDF") and len(re.findall(rb"/Type\s*/Page\b", paper)) <= 7


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
