"""The screen while the demo is driven, from the whole firmware in a small board's heap; pictures go to
build/screens/."""

import pytest
from make import screens

import ringpull
from shared_math import layout

BUILD = screens.ROOT / "build" / "screens"


@pytest.fixture(scope="module")
def shown(tmp_path_factory):
    """(name -> rows of pixels, the card folder)."""
    folder = tmp_path_factory.mktemp("screens")
    frames = screens.shoot(folder, screens.MOMENTS)
    BUILD.mkdir(parents=True, exist_ok=True)
    for name, data in frames.items():
        (BUILD / f"{name}.png").write_bytes(screens.sheet([data], 1, scale=4))
    (BUILD / "sheet.png").write_bytes(screens.sheet(list(frames.values()), 2))
    return {name: screens.pixels(data) for name, data in frames.items()}, folder / "card"


def lit(rows, left, top, right, bottom):
    """Share of lit pixels in a box."""
    inside = [value for row in rows[top:bottom] for value in row[left:right]]
    return sum(inside) / len(inside)


def test_every_page_is_another_one(shown):
    frames, _ = shown
    assert len({bytes(b"".join(rows)) for rows in frames.values()}) == len(screens.MOMENTS)


def test_lean_is_the_brightest_page(shown):
    frames, _ = shown
    shares = {name: lit(rows, 0, 10, 128, 54) for name, rows in frames.items()}
    assert max(shares, key=shares.get) == "lean" and shares["lean"] > 0.6
    assert all(share < 0.45 for name, share in shares.items() if name != "lean")


def test_a_pull_is_told_by_bars_and_the_picture_is_reversed_for_lean_alone(shown):
    frames, _ = shown
    for name in ("pull", "lean"):
        assert lit(frames[name], 0, 0, 128, 1) == 1 and lit(frames[name], 0, 9, 128, 11) == 1
    assert lit(frames["driving"], 0, 0, 128, 1) == 0 and lit(frames["driving"], 0, 9, 128, 11) == 0
    # dark ground wherever something stands: the top of every page, and all of the page but for lean
    assert all(lit(rows, 0, 1, 128, 9) < 0.4 for rows in frames.values())
    assert all(lit(rows, 0, 10, 128, 54) < 0.45 for name, rows in frames.items() if name != "lean")


def test_the_curve_has_its_hole_right_of_the_middle(shown):
    """The hole lies at 4775 to 5725 rpm of 2400 to 6900: the highest point of the curve stands there."""
    frames, _ = shown
    rows = frames["curve"]
    top = {x: min((y for y in range(12, 52) if rows[y][x]), default=64) for x in range(36, 126)}
    highest = min(top, key=top.get)
    assert 36 + 90 * 0.45 < highest < 36 + 90 * 0.80


def test_recording_with_a_screen_is_the_same_recording(shown):
    _, card = shown
    raw = ringpull.read(card).sessions[0].raw()
    assert ringpull.read(card).sessions[0].lost_rows == 0
    assert set(raw["lamp"]) == {layout.LAMP_RECORDING, layout.LAMP_MARKING, layout.LAMP_LEAN, layout.LAMP_ENDED}
