"""For everybody: axe-core finds no fault, and the palette's contrasts hold."""

import pytest
from pages import AXE

from ringpull.report import palette

TEXTS = ("text", "quiet", "link", "lean", "fine")
OTHER_WAYS = ((1280, "dark"), (390, "light"))
GROUNDS = ("ground", "panel", "lean-ground", "fine-ground", "open-ground")


@pytest.mark.parametrize(
    ("width", "scheme"),
    [(1280, "light"), (390, "dark"), *(pytest.param(*one, marks=pytest.mark.slow) for one in OTHER_WAYS)],
)
def test_axe_finds_nothing(report, opened, scheme, width):
    with opened(report, viewport={"width": width, "height": 800}, color_scheme=scheme, bypass_csp=True) as page:
        page.add_script_tag(content=AXE.read_text())
        told = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
        faults = [(v["impact"], v["id"], [n["target"] for n in v["nodes"]][:3]) for v in told["violations"]]
        assert faults == []
        assert len(told["passes"]) > 20


@pytest.mark.parametrize("colours", [palette.LIGHT, palette.DARK], ids=["light", "dark"])
def test_texts_stand_out(colours):
    low = {(t, g): palette.contrast(colours[t], colours[g]) for t in TEXTS for g in GROUNDS}
    assert min(low.values()) >= 4.5, min(low, key=low.get)


@pytest.mark.parametrize(
    ("colours", "lines"),
    [(palette.LIGHT, palette.LINES_LIGHT), (palette.DARK, palette.LINES_DARK)],
    ids=["light", "dark"],
)
def test_lines_stand_out(colours, lines):
    shown = [*lines, colours["target"], colours["edge"], colours["focus"], colours["measured"]]
    assert min(palette.contrast(line, colours["ground"]) for line in shown) >= 3.0


def test_map_texts_stand_out():
    assert min(palette.contrast(*palette.on_map(k / 200)) for k in range(201)) >= 4.5


def test_contrast_of_black_and_white():
    """WCAG 2.1, definition of contrast ratio: 21 to 1."""
    assert palette.contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert palette.contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.01)  # 0.05 short of AA: known example
