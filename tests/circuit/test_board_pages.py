"""The board's pages for whoever wires it and measures it first: they say what the data say."""

import html
import json
import re

import pytest

from hardware.board import bringup, contents, items, make, wiring_page
from hardware.circuit import build, checks
from shared_math import config

ALL = items.all_items()
NETS = items.nets(ALL)


def _wired() -> list[list[str]]:
    """Cells of the wiring page's rows."""
    lines = [line for line in wiring_page.markdown().splitlines() if re.match(r"\| J\d", line)]
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in lines]


def test_the_wiring_page_tells_where_each_core_goes():
    """Each pin of each plug once, with what limits its current: at the far end, or on the board."""
    rows = {(plug.split()[0], int(pin)): rest for plug, pin, *rest in _wired()}
    assert set(rows) == {(cable.ref, k + 1) for cable in contents.CABLES for k in range(len(cable.ways))}
    for cable in contents.CABLES:
        for k, terminal in enumerate(cable.ways):
            label, goes, through, wire, core = rows[cable.ref, k + 1]
            end = contents.BOARD.terminals[terminal]
            assert f"**{terminal}** " in label and (goes, wire, core) == (end.place, end.wire, end.colour)
            far = [f"{use.prefix}-{part.ref}" for use, part in contents.BOARD.far_parts(terminal)]
            shown = re.findall(r"\b[A-Z]\d?-[A-Z]\d\b", through)
            assert shown == far[::-1] if not end.own else shown and set(shown) <= {item.ref for item in ALL}, terminal
    for link in re.findall(r"\]\(([^)#]+)\)", wiring_page.markdown()):
        assert (make.MADE / link).exists(), link
    readme = (build.HARDWARE / "README.md").read_text()
    assert readme.count("board/made/wiring.md") == 2 and "](wiring.md)" in bringup.markdown()


def test_the_harness_is_drawn_plug_by_plug():
    drawn = html.unescape((make.MADE / "harness.svg").read_text())
    for cable in contents.CABLES:
        for terminal in cable.ways:
            end = contents.BOARD.terminals[terminal]
            told = f"{terminal} {end.label}" in re.sub(r"\s+", " ", drawn)
            assert told == (terminal in contents.FITTED.terminals), terminal
            for use, part in contents.BOARD.far_parts(terminal):
                assert end.own or terminal == "T1" or (f"{use.prefix}-{part.ref}" in drawn) == told, part.ref


def test_one_source_of_engine_speed_and_no_core_taken_for_the_coil_s():
    """The wiring says where J-JP1 stands for T19 and for the coil; only the coil's core is violet."""
    text = wiring_page.markdown()
    assert "T19: the tach output, **J-JP1 on 1-2**" in text and "**J8:** **J-JP1 on 2-3**" in text
    violet = [name for name, end in contents.BOARD.terminals.items() if end.colour == "violet"]
    assert violet == ["T5"]
    assert all("600 V" in contents.BOARD.terminals[name].wire for name in ("T5", "T6"))


def test_nothing_invites_a_tap_on_the_brakes():
    """A wheel sensor is the brakes' in nearly every car: no terminal is called after one, the page says what may go."""
    for end in contents.BOARD.terminals.values():
        assert "wheel" not in f"{end.label} {end.device} {end.pin}"
    assert "Never a wheel sensor of the brakes" in wiring_page.markdown()


def test_bring_up_measures_what_the_simulations_hold():
    known = {check.text for check in checks.ALL}
    told = [one for step in bringup.steps() for one in step.measures]
    assert {one.check for one in told if one.check} <= known
    assert sum(bool(one.check) for one in told) >= 25
    text = bringup.markdown()
    fitted = {use.prefix for use in contents.BOARD.uses} - set(contents.NOT_FITTED)
    assert fitted <= {word for step in bringup.steps() for word in step.fit}
    assert "Nobody has built this board yet" in text
    for point in re.findall(r"TP-(\w+)", text):
        assert point in contents.TEST_POINTS, point
    with pytest.raises(KeyError):
        bringup.limits("3 V somewhere")


def test_bring_up_says_when_firmware_and_more_current_come():
    """A pin that firmware drives is never joined to 3V3, and 0.1 A do not start an RP2040 board with its card."""
    steps = {block: step.words for step in bringup.steps() for block in step.fit}
    assert "0.1 A" in steps["P"] and "limit stands at 0.5 A" in steps["M1 in its sockets"]
    assert "no firmware yet" in steps["M1 in its sockets"] and "goes on after step 10" in steps["M1 in its sockets"]
    assert bringup.steps()[9].fit[0] == "H" and "firmware is on by now" in steps["K"]
    told = [one.state for step in bringup.steps() for one in step.measures]
    assert any("GP12" in state and "never once the firmware is on" in state for state in told)
    assert "E1-R4 and T19 here, with J-JP1 on pins 1 and 2" in bringup.markdown()


def test_the_page_s_logger_json_is_good():
    text = re.search(r"(?s)```json\n(.*?)```", bringup.markdown())[1]
    assert json.loads(text) == bringup.LOGGER and config.check(json.loads(text)) == []
    wired = {channel["input"] for channel in bringup.LOGGER["channels"]}
    assert wired <= {*NETS} and bringup.LOGGER["reference_v"] == 3.0
