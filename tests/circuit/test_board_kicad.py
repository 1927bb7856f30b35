"""The board through KiCad: its own rule check, the netlist read back, Gerber and drill files read by another reader."""

import re
import warnings
from collections import Counter

import copper
import numpy as np
import pytest

from hardware.board import items, kicad, make, rules, shape

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(make.kicad_python() is None, reason="KiCad 6 is not installed: apt-get install kicad"),
]
ERRORS = re.compile(r"(?m)^\[(\w+)\]: (.*)\n(.*)Severity: error")
ALL = items.all_items()


@pytest.fixture(scope="module")
def done():
    return make.fabricate(make.kicad_python())


def changed(monkeypatch, old, new, count=1):
    """The board made anew with `old` replaced in its file."""
    text = kicad.board_text()
    assert old in text
    monkeypatch.setattr(kicad, "board_text", lambda: text.replace(old, new, count))
    return make.fabricate(make.kicad_python())


def test_the_rule_check_finds_no_error(done):
    assert [(kind, words) for kind, words, _ in ERRORS.findall(done.drc)] == []
    assert "Found 0 unconnected pads" in done.drc and done.unconnected == 0


def test_the_netlist_read_back_is_the_circuit_s(done):
    wanted = {net: sorted(map(list, ends)) for net, ends in items.nets(ALL).items()}
    assert {net: sorted(ends) for net, ends in done.nets.items()} == wanted


@pytest.mark.parametrize("net, start, most_ohm", [("GND", ("J1", "2"), 0.1), ("AGND", ("M1", "33"), 0.15)])
def test_ground_is_one_piece_of_copper_and_wide(done, net, start, most_ohm):
    """From the supply's ground terminal to the ends: 15 mA of a clamp make less than 1.5 mV, and 0.3 A of board and
    card less than 3 mV. From the pin where AGND meets it: what the inputs lead there, 0.2 mA, makes 0.03 mV."""
    found = copper.ohms(*copper.drawn(done.board, net), start)
    assert {*found} == {*items.nets(ALL)[net]}
    assert max(found.values()) < most_ohm, sorted(found.items(), key=lambda pair: -pair[1])[:5]
    if net == "GND":  # the RP2040 board joins its seven legs
        of_board = min(ohm for (ref, _), ohm in found.items() if ref == "M1")
        assert max(of_board, *(ohm for (ref, _), ohm in found.items() if ref in ("S-X1", "P-U1", "R-U1"))) < 0.01


def test_the_ohms_of_a_strip():
    """One step wide, 40 squares on the upper side, a hole, 20 back on the lower; a pad apart from it."""
    sides = np.zeros((2, 5, 50), bool)
    sides[0, 2, 4:45] = sides[1, 2, 24:45] = sides[0, 4, 10] = True
    pads = {("A", "1"): (4.0, 2.0), ("B", "1"): (24.0, 2.0), ("C", "1"): (44.0, 2.0), ("D", "1"): (10.0, 4.0)}
    square = copper.COPPER_OHM_M / (rules.COPPER_MM * 1e-3)
    found = copper.ohms(sides, [(44.0, 2.0)], pads, ("A", "1"))
    assert found["B", "1"] == pytest.approx(20 * square) and found["C", "1"] == pytest.approx(40 * square)
    assert found["D", "1"] == float("inf")
    both = copper.ohms(sides, [(24.0, 2.0), (44.0, 2.0)], pads, ("A", "1"))
    assert 30 * square < both["C", "1"] < 30.5 * square


def test_what_is_committed_is_what_kicad_makes(done):
    assert (make.MADE / f"{make.NAME}.kicad_pcb").read_text() == done.board, (
        "run `make board` and commit the difference"
    )
    committed = {path.name: path.read_text() for path in (make.MADE / "gerber").iterdir()}
    assert committed == done.files, "run `make board` and commit the difference"


def test_it_is_the_same_board_each_time(done):
    again = make.fabricate(make.kicad_python())
    assert again.board == done.board and again.files == done.files


def test_a_track_in_the_coil_s_corner_is_an_error(monkeypatch):
    number = re.search(r'\(net (\d+) "3V3"\)', kicad.board_text())[1]
    track = (
        f'(segment (start 30 25) (end 32 25) (width 0.35) (layer "F.Cu") (net {number}) (tstamp {kicad._id("x")}))\n'
    )
    hurt = changed(monkeypatch, "(zone (net", track + "(zone (net")
    assert any(
        kind == "clearance" and "coil keeps clear" in words + rule for kind, words, rule in ERRORS.findall(hurt.drc)
    )


def test_a_missing_track_is_seen(monkeypatch):
    text = kicad.board_text()
    number = re.search(r'\(net (\d+) "A0-OUT"\)', text)[1]
    cut = re.sub(rf"\(segment [^\n]*\(net {number}\)[^\n]*\n", "", text)
    monkeypatch.setattr(kicad, "board_text", lambda: cut)
    hurt = make.fabricate(make.kicad_python())
    assert hurt.unconnected > 0 and "[unconnected_items]" in hurt.drc


def test_a_pad_on_a_wrong_net_is_seen(monkeypatch, done):
    text = kicad.board_text()
    line = re.search(r'\(pad "3" thru_hole[^\n]*"lambda_plus"\)[^\n]*\n', text)[0]
    number = re.search(r'\(net (\d+) "VCH"\)', text)[1]
    hurt = changed(monkeypatch, line, re.sub(r'\(net \d+ "lambda_plus"\)', f'(net {number} "VCH")', line))
    assert hurt.nets != done.nets


@pytest.fixture(scope="module")
def gerber(done, tmp_path_factory):
    """Name -> the file as gerbonara reads it."""
    gerbonara = pytest.importorskip("gerbonara")
    folder = tmp_path_factory.mktemp("gerber")
    out = {}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", SyntaxWarning)  # KiCad repeats G90 after the drill file's header
        for name, text in done.files.items():
            path = folder / name
            path.write_text(text)
            kind = gerbonara.ExcellonFile if name.endswith(".drl") else gerbonara.GerberFile
            out[name] = kind.open(str(path))
    return out


COPPER = ("upper_copper.gtl", "lower_copper.gbl")


def test_gerbers_have_the_board_s_size(gerber):
    (x0, y0), (x1, y1) = gerber["outline.gm1"].bounding_box()
    assert (x1 - x0, y1 - y0) == pytest.approx((shape.WIDTH_MM + 0.1, shape.HEIGHT_MM + 0.1), abs=0.02)
    for name in COPPER:
        (x0, y0), (x1, y1) = gerber[name].bounding_box()
        assert x0 >= 0.3 and y0 >= -1.5 and x1 <= shape.WIDTH_MM - 0.3 and y1 <= shape.HEIGHT_MM, name


def test_every_hole_is_drilled_once(gerber):
    wanted = Counter(pad.drill for item in ALL for pad in item.footprint.pads if pad.drill)
    text = kicad.board_text()
    wanted[rules.VIA_DRILL_MM] = text.count("(via (at")
    found = Counter(round(hole.aperture.diameter, 3) for hole in gerber["holes_plated.drl"].objects)
    assert found == {round(size, 3): count for size, count in wanted.items() if count}
    assert [hole.aperture.diameter for hole in gerber["holes_bare.drl"].objects] == [shape.HOLE_MM] * len(shape.HOLES)


def _told(thing, what) -> tuple[str, ...]:
    """What the Gerber file says of a thing; gerbonara keeps nothing of poured areas."""
    return (thing.attrs.get(what) if isinstance(thing.attrs, dict) else None) or ()


def _net(thing) -> str:
    """The net that the Gerber file itself names; names are escaped there."""
    name = (*_told(thing, ".N"), "")[0]
    return re.sub(r"\\u([0-9A-Fa-f]{4})", lambda m: chr(int(m[1], 16)), name)


def test_pads_in_the_gerbers_are_on_the_circuit_s_nets(gerber):
    found: dict[str, set[tuple[str, str]]] = {}
    for name in COPPER:
        for thing in gerber[name].objects:
            pin = _told(thing, ".P")
            if pin and _net(thing) and type(thing).__name__ in ("Flash", "Region"):
                found.setdefault(_net(thing), set()).add((pin[0], pin[1]))
    assert {net: sorted(ends) for net, ends in found.items() if net != "N/C"} == items.nets(ALL)


def test_the_coil_s_copper_keeps_its_distance_in_the_gerbers(gerber):
    """Every other track, pad and pour stays out of a box that reaches 5 mm beyond all copper of class "coil"."""
    coil_nets = {net for net in items.nets(ALL) if rules.class_of(net).name == "coil"}
    for name in COPPER:
        boxes = [thing.bounding_box() for thing in gerber[name].objects if _net(thing) in coil_nets]
        assert boxes or name != COPPER[0]
        for thing in gerber[name].objects:
            if _net(thing) in coil_nets:
                continue
            if type(thing).__name__ == "Region":
                corners = [(x, y) for x, y in thing.outline]
                for box in boxes:
                    assert not any(_inside(point, corners) for point in _around(box)), name
                continue
            other = thing.bounding_box()
            for box in boxes:
                dx = max(other[0][0] - box[1][0], box[0][0] - other[1][0], 0)
                dy = max(other[0][1] - box[1][1], box[0][1] - other[1][1], 0)
                assert (dx * dx + dy * dy) ** 0.5 >= shape.COIL_MM - 0.01, (name, thing)


def _around(box):
    """Points of the box and of the line 4.9 mm around it, on the board."""
    (x0, y0), (x1, y1) = box
    for far in (0.0, 2.5, shape.COIL_MM * 0.7):
        for x in (x0 - far, (x0 + x1) / 2, x1 + far):
            for y in (y0 - far, (y0 + y1) / 2, y1 + far):
                if 0 < x < shape.WIDTH_MM and 0 < y < shape.HEIGHT_MM:
                    yield x, y


def _inside(point, corners) -> bool:
    x, y = point
    hit = False
    for (x1, y1), (x2, y2) in zip(corners, corners[1:] + corners[:1]):
        if (y1 > y) != (y2 > y) and x < (x2 - x1) * (y - y1) / (y2 - y1) + x1:
            hit = not hit
    return hit


def test_the_slot_is_in_the_outline(gerber):
    (x, top), (_, low) = shape.SLOT
    lines = [thing for thing in gerber["outline.gm1"].objects if type(thing).__name__ == "Line"]
    sides = {(round(one.x1, 2), round(abs(one.y2 - one.y1), 2)) for one in lines if one.x1 == one.x2}
    for side in (x - shape.SLOT_MM / 2, x + shape.SLOT_MM / 2):
        assert (round(side, 2), round(low - top, 2)) in sides
