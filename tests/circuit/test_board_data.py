"""The board to order, from its data alone: it holds the circuit, its parts have room, its tracks join its nets."""

import json
import math
import re
import runpy

import pytest

from hardware.board import bringup, contents, items, kicad, make, module, places, prices, rules, shape, tracks
from hardware.board.footprints import GRID_MM
from hardware.circuit import bom, build, checks
from hardware.circuit.boards import RP2
from hardware.circuit.stock import STOCK
from shared_math import config

ALL = items.all_items()
PLACES = places.read_places()
NETS = items.nets(ALL)
FIRMWARE = runpy.run_path(str(build.ROOT / "firmware" / "boards" / "wiring.py"))["RP2"]


def test_every_part_of_every_block_is_there_once():
    on_board = {item.ref: item for item in ALL}
    assert len(on_board) == len(ALL)
    shared = {gate for chip in items.CHIPS for gate in chip.gates}
    for use in contents.BOARD.uses:
        for part in use.data.parts:
            ref = f"{use.prefix}-{part.ref}"
            assert (ref in on_board) == (not part.place and (use.prefix, part.ref) not in shared), ref
            if ref in on_board:
                item = on_board[ref]
                assert (item.stock, item.value) == (part.stock, part.value)
                assert item.nets == {pin: items.net_name(use, net) for pin, net in part.pins.items()}


def test_parts_of_one_net_of_a_block_are_on_one_net_of_the_board():
    """Through the shared chips too: pins of a block's net end on one net, pins of two nets on two."""
    on_board = {item.ref: item for item in ALL}
    gates = {gate: (chip.ref, pins) for chip in items.CHIPS for gate, pins in chip.gates.items()}
    for use in contents.BOARD.uses:
        found: dict[str, set[str]] = {}
        for part in use.data.parts:
            if part.place:
                continue
            ref, pins = gates.get((use.prefix, part.ref), (f"{use.prefix}-{part.ref}", {}))
            for pin, net in part.pins.items():
                found.setdefault(net, set()).add(on_board[ref].nets[pins.get(pin, pin)])
        assert all(len(nets) == 1 for nets in found.values()), use.prefix
        assert len({next(iter(nets)) for nets in found.values()}) == len(found), use.prefix


def test_no_gate_is_used_twice_and_no_input_floats():
    for chip in items.CHIPS:
        used = [pin for pins in chip.gates.values() for pin in pins.values()] + [chip.supply, chip.ground, *chip.idle]
        assert len(set(used)) == len(used)
        left = {pad.name for pad in items.footprint(chip.stock, "").pads} - set(used)
        assert left == ({"12"} if chip.stock == "schmitt_hc14" else set())  # the idle gate's output


def test_every_net_joins_two_things():
    assert [net for net, ends in NETS.items() if len(ends) < 2] == ["d0"]  # a free input of the RP2040 board


def test_the_module_s_pins_are_the_firmware_s():
    pins = module.pins()
    numbers = [number for number, _, _ in RP2.pins.values() if number is not None]
    numbers += [int(re.search(r"GP(\d+)", RP2.pins["power_fail"][1])[1])]
    others = [number for number, _ in module.SPARE.values()]
    assert others == list(FIRMWARE["bench"].values()) and len(set(numbers)) == len(numbers)
    later = {"bus_cs", "bus_int"}  # not on revision 1, which has other signals there
    assert {name for name, (number, _, _) in RP2.pins.items() if number is not None} - set(pins.values()) == later
    assert not set(numbers) & set(others) and len(set(others)) == len(others)
    assert {pins[pin] for pin in module.GROUNDS} == {"GND"} and pins[33] == "AGND" and pins[35] == "REF"


def test_terminals_are_the_build_s_and_end_where_the_far_parts_begin():
    shown = [way for cable in contents.CABLES for way in cable.ways if way]
    assert set(shown) == set(contents.BOARD.terminals)
    assert all(shown.count(way) == 1 for way in set(shown) - {"T14"})
    for terminal in set(shown) - {"T1", "T2", "T12", "T13", "T14"}:
        assert contents.BOARD.far_parts(terminal), terminal


def test_places_are_on_the_board_and_apart():
    rooms = {}
    for item in ALL:
        box = PLACES[item.ref].box(item.footprint.room)
        assert box[0] >= -1.2 and box[1] >= -1.2 and box[2] <= shape.WIDTH_MM + 1 and box[3] <= shape.HEIGHT_MM + 1, (
            item.ref
        )
        rooms[item.ref] = (item, box)
    for one, (item, a) in rooms.items():
        for other, (second, b) in rooms.items():
            if one >= other:
                continue
            overlap = min(a[2], b[2]) - max(a[0], b[0]), min(a[3], b[3]) - max(a[1], b[1])
            under = "M1" in (one, other) and max(min(i.footprint.height for i in (item, second)), 0) <= places.LOW_MM
            assert min(overlap) <= 1e-6 or under, (one, other)


@pytest.mark.parametrize(
    "ref, pad, other, other_pad, most_mm",
    [
        ("P-C4", "a", "P-U1", "in", 10), ("R-C2", "a", "R-U1", "in", 10), ("P-C3", "a", "P-U1", "out", 20),
        ("P-C5", "a", "P-U1", "out", 20), ("R-C1", "a", "R-U1", "out", 20), ("U1-C1", "a", "U1", "14", 16),
        ("U2-C1", "a", "U2", "8", 10), ("U3-C1", "a", "U3", "8", 10), ("X-C1", "a", "X-U1", "16", 12),
        ("X-C3", "a", "X-U1", "1", 12), ("X-C4", "a", "X-U1", "2", 12), ("S-C2", "a", "S-X1", "3V3", 15),
        ("A0-C3", "a", "M1", "31", 12), ("A1-C3", "a", "M1", "32", 12), ("A2-C3", "a", "M1", "34", 12),
        ("N-C1", "a", "M1", "35", 12), 
    ],
)  # fmt: skip
def test_capacitors_stand_where_they_work(ref, pad, other, other_pad, most_mm):
    def at(ref, name):
        item = next(item for item in ALL if item.ref == ref)
        return PLACES[ref].point(next(p.at for p in item.footprint.pads if p.name == name))

    assert math.dist(at(ref, pad), at(other, other_pad)) <= most_mm


def _bodies():
    return {item.ref: (item, PLACES[item.ref].box(item.footprint.body)) for item in ALL}


def test_air_around_the_live_tab():
    """Q1's tab carries 12 V: 5 mm to heat sinks and the card's carrier; 2.5 mm to cans in sleeves and to the RP2040
    board, towards which it wears a cap, which is in the parts list and in the step that fits it."""
    bodies = _bodies()
    _, q = bodies["P-Q1"]
    for ref, (item, box) in bodies.items():
        if item.stock in ("reg_5v", "c_elko", "c_elko_big", "card_socket", "board_rp2"):
            gap = max(box[0] - q[2], q[0] - box[2], box[1] - q[3], q[1] - box[3])
            assert gap >= (5.0 if item.stock in ("reg_5v", "card_socket") else 2.5), ref
    assert any("insulating cap" in str(line["part"]) for line in prices.rows())
    assert any("insulating cap" in step.words and "P" in step.fit for step in bringup.steps())


def test_the_coil_s_corner():
    """Slot between the opto-coupler's sides; every pad that is not the coil's keeps 5 mm of every one that is."""
    coil, others = [], []
    for item in ALL:
        for pad in item.footprint.pads:
            at = PLACES[item.ref].point(pad.at)
            (coil if rules.class_of(item.nets.get(pad.name, "")).name == "coil" else others).append(
                (at, max(pad.size) / 2)
            )
    assert len(coil) == 8
    closest = min(math.dist(a, b) - r - s for a, r in coil for b, s in others)
    assert closest >= shape.COIL_MM
    (x, top), (_, low) = shape.SLOT
    left = [at for at, _ in coil]
    assert max(at[0] for at in left) + 0.8 < x - shape.SLOT_MM / 2
    opto = next(item for item in ALL if item.ref == "C-U2")
    right = [PLACES["C-U2"].point(pad.at) for pad in opto.footprint.pads if pad.name in "34"]
    assert all(at[0] - 0.8 > x + shape.SLOT_MM / 2 and top < at[1] < low for at in right)
    for a in left:
        for b in right:
            over = min(
                math.dist(a, (x, end)) + math.dist((x, end), b)
                for end in (top - shape.SLOT_MM / 2, low + shape.SLOT_MM / 2)
            )
            assert over - 1.6 >= rules.SLOT_CREEPAGE_MM  # along the surface around the slot's ends
    assert shape.COIL_MM >= rules.clearance_for(rules.COIL_VOLTS)


def test_tracks_join_every_net_and_nothing_else():
    """Read from tracks.csv and the pads' places alone."""
    rows = tracks.read_tracks()
    joined: dict[str, set[tuple[str, str]]] = {}
    for net, ends in NETS.items():
        pads = []
        for item in ALL:
            for pad in item.footprint.pads:
                if item.nets.get(pad.name) == net:
                    x, y = PLACES[item.ref].point(pad.at)
                    pads.append(((round(x / GRID_MM), round(y / GRID_MM)), pad.drill > 0))
        groups = _groups([track for track in rows if track.net == net], pads)
        assert groups == 1, f"{net} is in {groups} pieces"
        joined[net] = set(ends)
    assert {track.net for track in rows} <= set(NETS)


def _groups(tracks, pads) -> int:
    """Into how many pieces the net's pads fall."""
    spans = []
    for track in tracks:
        if track.side == "through":
            spans.append([(0, track.a), (1, track.a)])
        else:
            layer = int(track.side == "lower")
            steps = max(abs(track.a[0] - track.b[0]), abs(track.a[1] - track.b[1]))
            dx, dy = (track.b[0] - track.a[0]) // steps, (track.b[1] - track.a[1]) // steps
            spans.append([(layer, (track.a[0] + k * dx, track.a[1] + k * dy)) for k in range(steps + 1)])
    for at, both in pads:
        spans.append([(0, at), (1, at)] if both else [(0, at)])
    parent: dict = {}

    def root(point):
        while parent.setdefault(point, point) != point:
            point = parent[point]
        return point

    for span in spans:
        for point in span[1:]:
            parent[root(point)] = root(span[0])
    return len({root((0, at)) for at, _ in pads})


@pytest.mark.parametrize("name", rules.CLASSES)
def test_widths_and_distances_bear_what_flows_and_stands(name):
    """IPC-2221: width for 10 K at the class's current; distance of bare outer copper at its volts."""
    one = rules.CLASSES[name]
    assert one.width_mm >= rules.width_for(one.current_a)
    assert one.clear_mm >= rules.clearance_for(one.volts) or one.volts <= 30


def test_the_width_formula():
    """1 A, 10 K, 35 um outer copper: 0.30 mm; 3 A: 1.37 mm (the formula's chart, read from memory)."""
    assert rules.width_for(1.0) == pytest.approx(0.30, abs=0.01)
    assert rules.width_for(3.0) == pytest.approx(1.37, abs=0.03)


def test_the_supply_s_way_is_wide_from_end_to_end():
    """Between the pads that carry the class's current lies copper of the class's width alone."""
    for net, main in rules.MAIN.items():
        own = rules.class_of(net)
        wide = [t for t in tracks.read_tracks() if t.net == net and t.kind in (own.name, "")]
        pads = []
        for item in ALL:
            for pad in item.footprint.pads:
                if (item.ref, pad.name) in main:
                    x, y = PLACES[item.ref].point(pad.at)
                    pads.append(((round(x / GRID_MM), round(y / GRID_MM)), pad.drill > 0))
        assert len(pads) == len(main), net
        assert _groups(wide, pads) == 1, net


def test_what_needs_no_kicad_is_what_the_data_give():
    for name, text in make.texts().items():
        assert (make.MADE / name).read_text(encoding="utf-8") == text, (
            f"run `make board` and commit the difference: {name}"
        )


def test_the_same_data_give_the_same_board_file():
    assert kicad.board_text() == kicad.board_text()
    text = kicad.board_text()
    stamps = re.findall(r"tstamp ([0-9a-f-]+)", text)
    assert len(set(stamps)) == len(stamps)
    assert json.loads(kicad.project_text())["net_settings"]["classes"][0]["name"] == "Default"


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


def test_the_page_s_logger_json_is_good():
    text = re.search(r"(?s)```json\n(.*?)```", bringup.markdown())[1]
    assert json.loads(text) == bringup.LOGGER and config.check(json.loads(text)) == []
    wired = {channel["input"] for channel in bringup.LOGGER["channels"]}
    assert wired <= {*NETS} and bringup.LOGGER["reference_v"] == 3.0


def test_the_price_is_the_sum_of_its_lines():
    total = sum(float(str(line["sum_usd"])) for line in prices.rows())
    assert prices.total_usd() == pytest.approx(total, abs=0.01)
    assert total < contents.BOARD.budget_usd
    low, high = prices.range_usd()
    readme = (build.HARDWARE / "README.md").read_text()
    assert f"{prices.total_usd():.2f} USD, {low} to {high}" in readme
    assert f"{prices.BARE_USD:.2f} USD" in readme
    refs = {ref for line in prices.rows() for ref in str(line["where"]).split()}
    assert {item.ref for item in ALL if item.fitted and item.stock != "point"} <= refs
    assert not {item.ref for item in ALL if not item.fitted} & refs
    assert all(line["price_date"] == "2026-11" for line in prices.rows())


def test_no_build_on_perfboard_lost_a_part_list():
    assert all(bom.rows(each, RP2) for each in build.builds.ALL)
    assert all(item.stock in STOCK or item.stock == "point" for item in ALL)
